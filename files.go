package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"evenhand/internal/clinic"
	"evenhand/internal/exchange"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

type scoreCmd struct {
	File   string `arg:"" help:"JSON document or CSV of readings; - for standard input." placeholder:"FILE"`
	Format string `help:"json, or csv: one finding a row." default:"json" enum:"json,csv"`
	Rule   string `name:"explain" help:"Print how the findings by this rule were worked out, as JSON, instead of the scores." placeholder:"RULE"`
}

// Run scores a file.
func (c *scoreCmd) Run(w *world) error {
	s, err := w.scorer()
	if err != nil {
		return err
	}
	in, done, err := w.open(c.File)
	if err != nil {
		return err
	}
	defer done()
	doc, _, err := exchange.Read(in, s.Protocol(), exchange.Options{Today: screen.DateOf(w.now())})
	if err != nil {
		return err
	}
	if doc.Unresolved {
		return errors.New("the file does not say who the athletes are: add the columns name, born, sex, throws, sport and level, or import it into a team")
	}
	if c.Rule != "" {
		return explainFindings(w.out, s, doc, c.Rule)
	}
	out := exchange.ScoreDocument(s, doc)
	if c.Format == "csv" {
		return exchange.WriteFindingsCSV(w.out, out.Scores)
	}
	return exchange.WriteScore(w.out, out)
}

// explainFindings writes how every finding by a rule was worked out.
func explainFindings(out io.Writer, s *score.Scorer, doc *exchange.Document, rule string) error {
	opt := score.Options{Heaped: exchange.Heaped(s.Protocol(), doc.Records)}
	list := []*score.Explanation{}
	for i := range doc.Records {
		for _, f := range s.Score(&doc.Records[i], opt).Findings {
			if f.Rule != rule {
				continue
			}
			e, err := s.Explain(&doc.Records[i], opt, rule, f.Side)
			if err != nil {
				return err
			}
			list = append(list, e)
		}
	}
	if len(list) == 0 {
		return fmt.Errorf("the file has no finding by the rule %q; score it without --explain to see which it has", rule)
	}
	enc := json.NewEncoder(out)
	enc.SetIndent("", " ")
	enc.SetEscapeHTML(false)
	return enc.Encode(list)
}

// open is a file, or standard input for "-".
func (w *world) open(file string) (io.Reader, func(), error) {
	if file == "-" {
		return w.in, func() {}, nil
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, nil, err
	}
	return f, func() { _ = f.Close() }, nil // it was only read
}

type importCmd struct {
	File  string `arg:"" help:"JSON document, CSV of readings, CSV roster, or XLSX with the columns of such a CSV; - for standard input." placeholder:"FILE"`
	DB    string `help:"Database file." default:"evenhand.db" placeholder:"FILE" env:"EVENHAND_DB"`
	Team  string `help:"Team to add to, by id or name; made if there is none of that name." required:"" placeholder:"TEAM"`
	Sport string `help:"Sport of a team that is made." default:"baseball"`

	ConsentOn string `help:"Says that you hold the consent for screening of everybody in the file, given by this day, and records it." placeholder:"DATE"`
	ConsentBy string `help:"Who gave it; without this, the athlete where of age and a guardian otherwise." enum:"guardian,athlete," default:""`
}

// inHand is the consent that the flags say is held.
func (c *importCmd) inHand() *clinic.ConsentInHand {
	if c.ConsentOn == "" {
		return nil
	}
	return &clinic.ConsentInHand{On: screen.Date(c.ConsentOn), GivenBy: screen.Giver(c.ConsentBy)}
}

// Run imports a file into a team.
func (c *importCmd) Run(ctx context.Context, w *world) (err error) {
	cl, closeStore, err := w.clinic(ctx, c.DB)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeStore()) }()
	in, done, err := w.open(c.File)
	if err != nil {
		return err
	}
	defer done()
	team, isNew, err := cl.TeamNamed(ctx, clinic.LocalAdministrator, c.Team)
	if err != nil {
		return err
	}
	if isNew {
		team.Sport = c.Sport
	}
	got, err := cl.ImportNew(ctx, clinic.LocalAdministrator, team, isNew, in, clinic.ImportOptions{Consent: c.inHand()})
	if err != nil {
		return err
	}
	var remarks strings.Builder
	for _, n := range got.Notes {
		remarks.WriteString("note: " + n + "\n")
	}
	for _, q := range got.Questions {
		remarks.WriteString("please check: " + q.Athlete + ": " + q.Text + "\n")
	}
	_, err1 := io.WriteString(w.errs, remarks.String())
	_, err2 := fmt.Fprintf(w.out, "athletes: %d added, %d known; screens: %d added; readings: %d added; other entries: %d added; already there: %d\n",
		got.Athletes, got.AthletesKnown, got.Screens, got.Readings, got.Entries, got.Already)
	return errors.Join(err1, err2)
}

type exportCmd struct {
	DB     string `help:"Database file." default:"evenhand.db" placeholder:"FILE" env:"EVENHAND_DB" type:"existingfile"`
	Team   string `help:"Team, by id or name; all if none is named." placeholder:"TEAM" xor:"what"`
	Format string `help:"json, csv (readings), or findings (scored, CSV)." default:"json" enum:"json,csv,findings"`

	Athlete string `help:"Everything held about one athlete, by id, in one JSON document to hand out." placeholder:"ID" xor:"what"`
}

// Run writes a team's records to standard output.
func (c *exportCmd) Run(ctx context.Context, w *world) (err error) {
	cl, closeStore, err := w.clinic(ctx, c.DB)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeStore()) }()
	if c.Athlete != "" {
		held, err := cl.Held(ctx, clinic.LocalAdministrator, c.Athlete)
		if err != nil {
			return err
		}
		enc := json.NewEncoder(w.out)
		enc.SetIndent("", " ")
		enc.SetEscapeHTML(false)
		return enc.Encode(held)
	}
	id := ""
	if c.Team != "" {
		team, isNew, err := cl.TeamNamed(ctx, clinic.LocalAdministrator, c.Team)
		if err != nil {
			return err
		}
		if isNew {
			return fmt.Errorf("there is no team %q", c.Team)
		}
		id = team.ID
	}
	doc, err := cl.ExportDocument(ctx, clinic.LocalAdministrator, id)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(w.out)
	switch c.Format {
	case "csv":
		err = exchange.WriteReadingsCSV(out, cl.Protocol(), doc)
	case "findings":
		err = exchange.WriteFindingsCSV(out, exchange.ScoreDocument(cl.Scorer(), doc).Scores)
	default:
		err = exchange.WriteJSON(out, cl.Protocol(), doc)
	}
	return errors.Join(err, out.Flush())
}

type protocolCmd struct {
	Show  protocolShow  `cmd:"" help:"Print the resolved protocol as JSON."`
	Check protocolCheck `cmd:"" help:"Check a protocol file, and say what each of its rules can find."`
}

type protocolShow struct{}

// Run prints the protocol in use.
func (protocolShow) Run(w *world) error {
	p, err := w.load(w.protocol)
	if err != nil {
		return err
	}
	enc := json.NewEncoder(w.out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(p)
}

type protocolCheck struct {
	File string `arg:"" optional:"" help:"Protocol file; the one in use if none is named." placeholder:"FILE"`
	JSON bool   `help:"Print the figures as JSON."`
}

// Run checks a protocol.
func (c *protocolCheck) Run(w *world) error {
	file := c.File
	if file == "" {
		file = w.protocol
	}
	p, err := w.load(file)
	if err != nil {
		return err
	}
	s := score.New(p)
	if c.JSON {
		enc := json.NewEncoder(w.out)
		enc.SetIndent("", "  ")
		return enc.Encode(s.Check())
	}
	return printCheck(w.out, s)
}

// printCheck is the table of what rules find. Of 100 athletes with a true deficit it says how many are
// found, unsettled and called clear; of 100 uninjured ones, how many are truly beyond the threshold.
func printCheck(out io.Writer, s *score.Scorer) error {
	p := s.Protocol()
	lines := []string{
		fmt.Sprintf("%s, hash %s: sound. %d measures, %d rules, %d checklist items.", p.NameAndVersion(), p.Hash, len(p.Measures), len(p.Rules), len(p.Checklist)),
		"Per rule, at a planned visit by one examiner: of 100 athletes with a true deficit, found, unsettled and called clear; of 100 uninjured, how many exceed it.",
	}
	rows := []string{"rule\tages\tthreshold\tSE\tfound\tunsettled\tcalled clear\texceeded by\tremark"}
	for _, c := range s.Check() {
		figures := []string{"-", "-", "-", "-"}
		if c.Prior {
			for i, x := range []float64{c.Found, c.Unsettled, c.Missed, c.Exceeded} {
				figures[i] = fmt.Sprintf("%.0f", x)
			}
		}
		rows = append(rows, strings.Join([]string{c.Rule, c.Group, screen.Amount(fmt.Sprintf("%g", c.Threshold), c.Unit),
			screen.Amount(fmt.Sprintf("%.1f", c.SE), c.Unit), strings.Join(figures, "\t"), strings.Join(c.Marks, "; ")}, "\t"))
	}
	var table strings.Builder
	t := tabwriter.NewWriter(&table, 0, 4, 2, ' ', 0)
	if _, err := io.WriteString(t, strings.Join(rows, "\n")+"\n"); err != nil {
		return err
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := io.WriteString(out, strings.Join(lines, "\n")+"\n"+table.String()+strings.Join(append(s.Remarks(), ""), "\n"))
	return err
}
