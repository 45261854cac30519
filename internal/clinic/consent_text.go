package clinic

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// exampleVersion is what the texts that come with the program are called.
const exampleVersion = "example 1"

// exampleHead stands above each of them.
const exampleHead = "EXAMPLE. Check this text against the law of your country and the rules of your school or club before anybody signs it.\n\n"

// exampleTexts are the texts that come with the program, one for each purpose.
var exampleTexts = map[screen.Purpose]string{
	screen.ForScreening: exampleHead + `We measure how far your child's arm, trunk, hips and legs move and how strong they are, compare both sides, watch how your child throws, and ask about pain. This shows where training should begin. It is not a medical examination and finds no diagnosis.

We store: name, birth date, sex, throwing hand, height and body mass; the measured values; the answers to questions about pain; injuries and clearances that you or a clinician tell us about.

Only the athletic trainers and clinicians of this programme see these values. Coaches do not, unless you agree to that separately. Every look at the records is noted.

Your child may stop at any time during the measurements and may decline any of them. You may take this consent back at any time, without a reason and without any drawback for your child; from that day on nothing more is stored. You may ask for a copy of everything that is stored, and for its erasure.

I agree that my child is screened and that the results are stored.

Name of the athlete:
Name and signature of the guardian (of the athlete, if of age):
Date:`,
	screen.ForPhotographs: exampleHead + `We may take photographs and video of your child's throw, to look at the movement more closely. They are used for this only, are not published, and are shown to the athletic trainers and clinicians of this programme only.

You may take this consent back at any time, without a reason and without any drawback for your child; the pictures are then deleted. Your child may be screened without it.

I agree that photographs and video of my child's throw are taken.

Name of the athlete:
Name and signature of the guardian (of the athlete, if of age):
Date:`,
	screen.ForCoach: exampleHead + `We tell your child's coach whether your child may throw, has to wait for a clinician's clearance, or may throw with limits, and at most two things to work on in the throw. The coach sees no measured value, no symptom and no diagnosis.

You may take this consent back at any time, without a reason and without any drawback for your child; the coach then sees nothing of this any more. Your child may be screened without it.

I agree that this is shared with the coach.

Name of the athlete:
Name and signature of the guardian (of the athlete, if of age):
Date:`,
}

// ConsentTexts are the versions of the texts, by purpose, the newest first; the examples stand last.
func (c *Clinic) ConsentTexts(ctx context.Context, who Person) (out []screen.ConsentText, err error) {
	err = c.readAny(ctx, who, access.SeeTeam, func(tx *store.Tx, _ func(string) bool) error { // a text is about nobody
		for _, p := range screen.Purposes() {
			list, err := consentTexts(tx, p)
			if err != nil {
				return err
			}
			out = append(out, list...)
		}
		return nil
	})
	return out, err
}

// consentTexts are the versions of the text for a purpose, the newest first, the example last.
func consentTexts(tx *store.Tx, p screen.Purpose) ([]screen.ConsentText, error) {
	out, err := tx.ConsentTexts(p)
	slices.SortStableFunc(out, func(a, b screen.ConsentText) int {
		return cmp.Or(b.Made.Compare(a.Made), cmp.Compare(b.ID, a.ID))
	})
	if body := exampleTexts[p]; body != "" {
		out = append(out, screen.ConsentText{ID: "example-" + string(p), Purpose: p, Version: exampleVersion, Body: body})
	}
	return out, err
}

// AddConsentText adds a version of the text for a purpose. A text is never changed: people agreed to
// it. Returns Faults, or Conflict if the version is taken.
func (c *Clinic) AddConsentText(ctx context.Context, who Person, t screen.ConsentText) (screen.ConsentText, error) {
	t.Version, t.Body = strings.TrimSpace(t.Version), strings.TrimSpace(strings.ReplaceAll(t.Body, "\r\n", "\n"))
	t.Made, t.ByID = c.now().UTC(), who.ID
	if t.ID == "" {
		t.ID = c.newID()
	}
	f := screen.CheckConsentText(&t, "")
	if t.Version == exampleVersion {
		f.Add("version", "a label of your own, such as 2026-08", "%q is the text that comes with the program", t.Version)
	}
	if err := f.Err(); err != nil {
		return t, err
	}
	err := c.write(ctx, who, access.Operate, gate.Programme(), func(tx *store.Tx) error {
		_, err := tx.PutConsentText(t)
		return err
	})
	return t, err
}

// ConsentSettings are what the programme chose.
func (c *Clinic) ConsentSettings(ctx context.Context, who Person) (out ConsentSettings, err error) {
	err = c.readAny(ctx, who, access.SeeTeam, func(tx *store.Tx, _ func(string) bool) error {
		out.Majority, err = majority(tx)
		return err
	})
	return out, err
}

// SetConsentSettings keeps what the programme chose; it holds for what is recorded from now on. Returns
// Faults.
func (c *Clinic) SetConsentSettings(ctx context.Context, who Person, s ConsentSettings) error {
	if s.Majority < leastMajority || s.Majority > mostMajority {
		return screen.Faults{{Where: "majority", Problem: "this is no age of majority", Want: "whole years from 14 to 21"}}
	}
	return c.write(ctx, who, access.Operate, gate.Programme(), func(tx *store.Tx) error {
		return tx.PutSetting(consentSetting, s, who.ID)
	})
}
