package web

import (
	"bytes"
	"fmt"
	"html"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

const rosterPath = "/teams/" + emptyTeam + "/roster"

const fullRoster = "Full name,Date of birth,Gender,Throws,Level\nKim Tandrel,2011-04-02,F,L,youth\nBo Quillmere,2010-01-02,boy,R,school\n"

var (
	hiddenField = regexp.MustCompile(`<input type="hidden" name="(\w+)" value="([^"]*)">`)
	selectField = regexp.MustCompile(`(?s)<select[^>]* name="(\w+)".*?</select>`)
	chosen      = regexp.MustCompile(`<option(?: value="([^"]*)")? selected>([^<]*)`)
	firstOption = regexp.MustCompile(`<option(?: value="([^"]*)")?>([^<]*)`)
)

// fields are those that a browser would send with the form of the page as it stands.
func fields(body string) url.Values {
	out := url.Values{}
	for _, m := range hiddenField.FindAllStringSubmatch(body, -1) {
		out.Add(m[1], html.UnescapeString(m[2]))
	}
	for _, m := range selectField.FindAllStringSubmatch(body, -1) {
		o := chosen.FindStringSubmatch(m[0])
		if o == nil {
			o = firstOption.FindStringSubmatch(m[0])
		}
		value := o[1]
		if value == "" && !strings.Contains(o[0], "value=") {
			value = o[2]
		}
		out.Set(m[1], html.UnescapeString(value))
	}
	return out
}

// send posts the form of a page with some fields changed.
func (p *place) send(body, do string, changed ...string) string {
	p.t.Helper()
	form := fields(body)
	form.Set("do", do)
	for i := 0; i+1 < len(changed); i += 2 {
		form.Set(changed[i], changed[i+1])
	}
	w := p.post(rosterPath, form)
	if w.Code != http.StatusOK && w.Code != http.StatusUnprocessableEntity {
		p.t.Fatalf("%d %s\n%s", w.Code, clipped(w.Body.String()), p.log)
	}
	return w.Body.String()
}

func (p *place) paste(text string) string {
	p.t.Helper()
	w := p.post(rosterPath, url.Values{"text": {text}})
	return w.Body.String()
}

func (p *place) squadSize() int {
	p.t.Helper()
	list, err := p.clinic.Members(p.t.Context(), clinic.LocalAdministrator, emptyTeam)
	p.must(err)
	return len(list)
}

func TestRosterPage(t *testing.T) {
	p := newPlace(t, Options{})
	wants(t, p.get(rosterPath, http.StatusOK), "A file: XLSX or CSV", "<h1>Roster for Empty</h1>", `href="/teams/team-empty"`)
	p.get("/teams/none/roster", http.StatusNotFound)
	wants(t, p.get("/teams/"+emptyTeam+"/import", http.StatusOK), `href="/teams/team-empty/roster"`)
	body := p.paste(fullRoster)
	wants(t, body, "Nothing is added yet: look through it, then confirm.", "Kim Tandrel", "2 Apr 2011", "recognised by its heading", "Add 2 athletes", `aria-label="What Gender means"`)
	if p.squadSize() != 0 {
		t.Fatal("the preview wrote something")
	}
	wants(t, p.send(body, "add"), "Added: 2 athletes.", "To the team")
	a := p.athletes()
	if len(a) != 2 || a[0].Name != "Bo Quillmere" || a[0].Sex != screen.Male || a[0].Level != screen.School || a[1].HandOn("2026-03-10") != screen.LeftHand || a[1].Sport != "baseball" {
		t.Errorf("%+v", a)
	}
	body = p.paste(fullRoster)
	wants(t, body, "Nothing new: everybody in it is in the team already.", "in the team already", "same name and birth date")
	wantsNot(t, body, `value="add"`, `value="part"`)
	if p.send(body, "add"); p.squadSize() != 2 {
		t.Error("the same roster added somebody")
	}
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

func (p *place) athletes() []screen.Athlete {
	p.t.Helper()
	list, _, err := p.clinic.Athletes(p.t.Context(), clinic.LocalAdministrator, emptyTeam, clinic.Page{Limit: 500})
	p.must(err)
	return list
}

func TestRosterMappedByHand(t *testing.T) {
	p := newPlace(t, Options{})
	body := p.paste("Who\tBorn\tArm\nKim Tandrel\t3/5/2012\tL\nBo Quillmere\t4/6/2011\tR\n")
	wants(t, body, "say what the columns mean", "No column is known to hold the name", "No column is known to hold the throwing hand", "No column is known to hold the sex")
	body = p.send(body, "read", "means0", "name", "means2", "throws", "all_level", "school", "all_sex", "female")
	wants(t, body, "the day or the month", "In dates such as 3/5/2012 (row 2)", "3 May 2012", "5 Mar 2012", "as you said")
	wantsNot(t, body, `value="add"`)
	if changed := p.send(body, "add", "dates", "dmy"); !strings.Contains(changed, "look again") || p.squadSize() != 0 {
		t.Error("added by settings that were not seen")
	}
	body = p.send(body, "read", "dates", "dmy")
	wants(t, body, "Add 2 athletes", "3 May 2012", "4 Jun 2011")
	if body = p.send(body, "add", "all_sex", "male"); !strings.Contains(body, "look again") || p.squadSize() != 0 {
		t.Error("added by settings that were not seen")
	}
	wants(t, p.send(body, "add"), "Added: 2 athletes.")
	if a := p.athletes(); a[1].Born != "2012-05-03" || a[1].Sex != screen.Male {
		t.Errorf("%+v", a)
	}
}

func TestRosterFaultsAndHonestChoices(t *testing.T) {
	p := newPlace(t, Options{})
	body := p.paste(fullRoster + hostile + `,2010-02-30,x,<b>both</b>,youth` + "\n=1+1 " + hostile + ",2010-02-03,m,both,youth\n")
	wants(t, body, "Right: 3 athletes. Faulty: 1 row.", `data-label="Row">4<`, `data-label="Column">Date of birth<`, "<code>2010-02-30</code>", "The calendar has no such day", "A day such as",
		"<code>&lt;b&gt;both&lt;/b&gt;</code>", "&lt;img src=x", "choose it again", "Add 3 athletes, leave out the 1 faulty row", "=1&#43;1")
	wantsNot(t, body, "<img", "<b>both", `value="add"`)
	if p.send(body, "add"); p.squadSize() != 0 {
		t.Error("added although a row is faulty")
	}
	wants(t, p.send(body, "part"), "Added: 3 athletes.", `<dt>Faulty rows left out</dt><dd>1</dd>`)
	if p.squadSize() != 3 {
		t.Errorf("%d members", p.squadSize())
	}
	wants(t, p.paste("Name,Born,Sex,Throws,Level,"+strings.ReplaceAll(hostile, `"`, "")+"\n"), "There is nobody in it", "&lt;img src=x")
}

func TestRosterAsksForAnotherPerson(t *testing.T) {
	p := newPlace(t, Options{})
	with := func(number string) string {
		return "Name,Born,Sex,Throws,Level,ID\nKim Tandrel,2011-04-02,F,L,youth," + number + "\n"
	}
	p.send(p.paste(with("17")), "add")
	body := p.paste(with("18"))
	wants(t, body, "say whether 1 row is about another person", "Kim Tandrel, born 2 Apr 2011, number 17")
	if p.send(body, "add"); p.squadSize() != 1 {
		t.Fatal("added without an answer")
	}
	wants(t, p.send(body, "read", "same", "same"), "Nothing new")
	body = p.send(body, "read", "same2", "other")
	wants(t, p.send(body, "add"), "Added: 1 athlete.")
}

func TestRosterThatCannotBeRead(t *testing.T) {
	p := newPlace(t, Options{MaxUpload: 1 << 20})
	for text, want := range map[string]string{"": "Nothing was given", "\x00": "plain text", "Name,DOB\n\"x\"y,z\nv,w": "quotes do not match"} {
		w := p.post(rosterPath, url.Values{"text": {text}})
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%q: %d", text, w.Code)
		}
		wants(t, w.Body.String(), want, "Nothing was changed", `name="file"`)
	}
	old := append([]byte{0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1}, make([]byte, 100)...)
	wants(t, p.upload(rosterPath, old, http.StatusUnprocessableEntity), "save it as XLSX or CSV")
	p.upload(rosterPath, bytes.Repeat([]byte("x"), 2<<20), http.StatusRequestEntityTooLarge)
	body := p.paste(fullRoster)
	wants(t, p.send(body, "add", "table", "broken"), "did not come back")
	wants(t, p.send(body, "read", "sheet", "9", "means0", "<b>"), "No column is known to hold the name")
	if w := p.do(http.MethodPost, rosterPath, strings.NewReader("text=x"), "Content-Type", "application/x-www-form-urlencoded"); w.Code != http.StatusForbidden {
		t.Errorf("a form from elsewhere: %d", w.Code)
	}
}

// A page of a large roster shows a part and counts the rest; it comes back whole.
func TestLargeRosterPage(t *testing.T) {
	p := newPlace(t, Options{})
	var b strings.Builder
	b.WriteString("Name;Born;Sex;Throws;Level\n")
	for i := range 5000 {
		born := "2011-04-02"
		if i%10 == 0 {
			born = "2011-14-02"
		}
		fmt.Fprintf(&b, "Athlete %d;%s;F;L;youth\n", i, born)
	}
	begin := time.Now()
	body := p.upload(rosterPath, []byte(b.String()), http.StatusOK)
	t.Logf("preview of 5,000 rows: %v, %d bytes", time.Since(begin), len(body))
	wants(t, body, "<dt>New</dt><dd>4500</dd>", "<dt>Faulty</dt><dd>500</dd>", "And 300 more faulty rows.", "And 4450 more.", "leave out the 500 faulty rows")
	if n := strings.Count(body, "<tr>"); n > 270 {
		t.Errorf("%d rows of tables", n)
	}
	form := fields(body)
	form.Set("do", "part")
	var sent bytes.Buffer
	m := multipart.NewWriter(&sent)
	for name, values := range form {
		for _, v := range values {
			p.must(m.WriteField(name, v))
		}
	}
	p.must(m.Close())
	begin = time.Now()
	w := p.do(http.MethodPost, rosterPath, &sent, "Content-Type", m.FormDataContentType(), "Sec-Fetch-Site", "same-origin")
	t.Logf("added: %v", time.Since(begin))
	wants(t, w.Body.String(), "Added: 4500 athletes.")
	if p.squadSize() != 4500 {
		t.Errorf("%d members", p.squadSize())
	}
}
