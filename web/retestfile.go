package web

import (
	"bytes"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/exchange"
	"evenhand/internal/screen"
)

// retestFilePage takes a file of repeated readings and shows their study. The readings travel with the
// page, so that nothing is kept before that is asked for.
type retestFilePage struct {
	Head
	Team     screen.Team
	Pasted   string // what was given, to be put right
	Readings string // as they were read, in the form of a file
	Rows     int
	Faults   []string
	Notes    []string
	Study    *retestStudy
	Measures []*retestMeasure
	Use      useView
}

func (*retestFilePage) file() string { return "retestfile.html" }

func (s *server) retestFilePage(ctx *gin.Context) (*retestFilePage, error) {
	t, err := s.clinic.Team(ctx.Request.Context(), s.person(ctx), ctx.Param("team"))
	if err != nil {
		return nil, err
	}
	p := &retestFilePage{Head: Head{Title: "Repeated readings from a file"}, Team: t}
	p.Crumbs = []Crumb{{"Teams", "/"}, {t.Name, "/teams/" + t.ID}, {"How well do we measure?", "/teams/" + t.ID + "/retest"}}
	p.Use.Faults = map[string]string{}
	return p, nil
}

func (s *server) retestFileForm(ctx *gin.Context) (answer, error) {
	p, err := s.retestFilePage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

func (s *server) retestFile(ctx *gin.Context) (answer, error) {
	tidy, err := s.readUpload(ctx)
	if err != nil {
		return answer{}, err
	}
	defer tidy()
	p, err := s.retestFilePage(ctx)
	if err != nil {
		return answer{}, err
	}
	f, err := s.readRetest(ctx, p)
	if faults := spoken(err); faults != nil {
		p.Faults = faultSentences(faults)
		p.Needs = "This cannot be read as repeated readings. Nothing was changed."
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	if do := ctx.PostForm("do"); do == "keep" || do == "use" {
		return s.keepFile(ctx, p, f)
	}
	return shown(p), s.showFile(ctx, p, f)
}

// readRetest works out the study of the file or text.
func (s *server) readRetest(ctx *gin.Context, p *retestFilePage) (*clinic.FileStudy, error) {
	in, closeInput, err := fileOrText(ctx, &p.Pasted)
	if err != nil {
		return nil, err
	}
	defer closeInput()
	if in == nil {
		return nil, screen.Faults{{Problem: "nothing was given", Want: "choose a file, or paste the text"}}
	}
	f, err := s.clinic.RetestOfFile(ctx.Request.Context(), s.person(ctx), p.Team.ID, in, s.maxUpload)
	return &f, err
}

// showFile puts the study into the page.
func (s *server) showFile(ctx *gin.Context, p *retestFilePage, f *clinic.FileStudy) error {
	var out bytes.Buffer
	if err := exchange.WriteRetestCSV(&out, s.clinic.Protocol(), f.Readings); err != nil {
		return err
	}
	p.Readings, p.Rows, p.Notes, p.Pasted = out.String(), len(f.Readings), f.Notes, ""
	p.Study = s.retestStudy(f.Study)
	for i := range p.Study.Rows {
		p.Measures = append(p.Measures, s.retestMeasure(p.Study.find(p.Study.Rows[i].ID), nil))
	}
	if p.Needs = p.Study.Line; p.Use.told() {
		p.Needs = "Nothing was changed: something has to be put right first."
	}
	if p.Use.ID == "" {
		p.Use.ID = s.clinic.NewID()
	}
	if len(f.Study.Errors()) == 0 {
		p.Use.WhyNot = "There are too few repeats for errors of your own: no measure has enough of them. The study can be kept all the same."
		return nil
	}
	var err error
	p.Use.Effect, err = s.effect(ctx.Request.Context(), s.person(ctx), p.Team.ID, p.Study)
	return err
}

// keepFile keeps the study of the readings that travelled with the page.
func (s *server) keepFile(ctx *gin.Context, p *retestFilePage, f *clinic.FileStudy) (answer, error) {
	p.Use.useForm = useForm{Do: ctx.PostForm("do"), ID: ctx.PostForm("id"), Name: ctx.PostForm("name"), Why: ctx.PostForm("why")}
	keep := clinic.StudyToKeep{ID: p.Use.ID, Name: p.Use.Name, Readings: f.Readings}
	to, err := s.doRetest(ctx.Request.Context(), s.person(ctx), p.Team.ID, &p.Use.useForm, keep, "")
	if err == nil {
		return goOn(to), nil
	}
	faults := spoken(err)
	if faults == nil {
		return answer{}, err
	}
	p.Use.tell("use", faults)
	return refused(p), s.showFile(ctx, p, f)
}

// faultSentences are faults with their places, each in a sentence or two.
func faultSentences(faults []screen.Fault) (out []string) {
	for _, f := range faults {
		text := upperFirst(f.Problem) + "."
		if f.Where != "" {
			text = upperFirst(f.Where) + ": " + lowerFirst(f.Problem) + "."
		}
		if f.Want != "" {
			text += " Right would be: " + f.Want
			if !strings.HasSuffix(text, "?") {
				text += "."
			}
		}
		out = append(out, text)
	}
	return out
}
