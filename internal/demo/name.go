package demo

import "evenhand/internal/screen"

// invented are the athletes' names. The given names come from many languages; the family names are
// made up for this list and are meant to belong to nobody. The first 26 are in the first team.
var invented = [Athletes]struct {
	name string
	sex  screen.Sex
}{
	{"Amadou Tandrel", screen.Male}, {"Bao Quillmere", screen.Male}, {"Chidi Oakhollow", screen.Male},
	{"Dmitri Vossarin", screen.Male}, {"Emil Brackwater", screen.Male}, {"Farid Lumendahl", screen.Male},
	{"Goro Pentwhistle", screen.Male}, {"Håkon Mirefield", screen.Male}, {"Iker Sandlewick", screen.Male},
	{"Jomo Thistlebarrow", screen.Male}, {"Kaleo Wrenmoor", screen.Male}, {"Łukasz Embercote", screen.Male},
	{"Mateo Fennimore-Vale", screen.Male}, {"Niall Orchardine", screen.Male}, {"Omar Gallowmere", screen.Male},
	{"Pavel Ravenscote", screen.Male}, {"Quang Silverthwaite", screen.Male}, {"Rafa Duskmantle", screen.Male},
	{"Sione Copperlane", screen.Male}, {"Tariq Hollowbrook", screen.Male}, {"Uri Marshwarden", screen.Male},
	{"Viggo Plumstrand", screen.Male}, {"Wanjiru Kestelmoor", screen.Female}, {"Xochitl Briarpost", screen.Female},
	{"Yuki Nettlecombe", screen.Female}, {"Zofia Amberquay", screen.Female},
	{"Aiyana Starrowby", screen.Female}, {"Beatriz Coldhaven", screen.Female}, {"Chipo Larkendale", screen.Female},
	{"Daria Windlestraw", screen.Female}, {"Elif Mossgarth", screen.Female}, {"Fatou Tillerby", screen.Female},
	{"Gwen Aldermist", screen.Female}, {"Hana Foxglen", screen.Female}, {"Inés Peverwick", screen.Female},
	{"Jaya Rookhampton", screen.Female}, {"Keira Stonelilac", screen.Female}, {"Leilani Undermill", screen.Female},
	{"Mei Hazelrook", screen.Female}, {"Noor Winterbough", screen.Female}, {"Oluchi Pebblewood", screen.Female},
	{"Petra Yarrowgate", screen.Female}, {"Rosa Tidewhistle", screen.Female}, {"Saoirse Inkwell-Dray", screen.Female},
	{"Thandi Merrowfen", screen.Female}, {"Ulla Greyfinch", screen.Female}, {"Vera Saltmeadow", screen.Female},
	{"Winta Oldbarrow", screen.Female},
}

// firstTeam is how many of them are in the first team.
const firstTeam = 26
