package web

import (
	"fmt"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// factorPage sets up the second factor: codes of an app, by time (RFC 6238).
type factorPage struct {
	Head
	Secret  string
	Spelled string // the secret in groups of four
	QR      qrView
	Again   bool // there is one, which this one takes the place of
	Faults  []screen.Fault
}

func (*factorPage) file() string { return "accountfactor.html" }

// Invalid is a field with what is wrong with it.
func (p *factorPage) Invalid(field string) fieldFault {
	return fieldFault{field, faultAt(p.Faults, field)}
}

// codesPage shows the recovery codes, once.
type codesPage struct {
	Head
	Login string
	Codes []string
	Made  string
}

func (*codesPage) file() string { return "accountcodes.html" }

func (s *server) factorForm(ctx *gin.Context) (answer, error) {
	p, err := s.factorPage(ctx, "")
	return shown(p), err
}

// factorPage offers a secret: a new one, or the one that was offered before, after a code of it did not
// fit.
func (s *server) factorPage(ctx *gin.Context, secret string) (*factorPage, error) {
	who := s.person(ctx)
	own, err := s.office.Own(ctx.Request.Context(), who)
	if err != nil {
		return nil, err
	}
	offer, err := s.office.OfferTOTP(ctx.Request.Context(), who)
	if err == nil && secret != "" {
		offer, err = withSecret(offer, secret)
	}
	if err != nil {
		return nil, err
	}
	p := &factorPage{Head: Head{Title: "Set up the second factor", Crumbs: []Crumb{{"Your account", "/account"}}},
		Secret: offer.Secret, Spelled: inFours(offer.Secret), Again: own.HasTOTP}
	p.QR, err = qrOf(offer.URL, "QR code of the second factor's secret")
	return p, err
}

// withSecret is the offer with another secret in it.
func withSecret(offer office.TOTPOffer, secret string) (office.TOTPOffer, error) {
	u, err := url.Parse(offer.URL)
	if err != nil {
		return offer, fmt.Errorf("the address of the second factor: %w", err)
	}
	q := u.Query()
	q.Set("secret", secret)
	u.RawQuery = q.Encode()
	return office.TOTPOffer{Secret: secret, URL: u.String()}, nil
}

func inFours(s string) string {
	var out strings.Builder
	for i := 0; i < len(s); i += 4 {
		if i > 0 {
			out.WriteByte(' ')
		}
		out.WriteString(s[i:min(i+4, len(s))])
	}
	return out.String()
}

// longestSecret bounds what is drawn as a QR code again.
const longestSecret = 128

func (s *server) takeFactor(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	who, secret := s.person(ctx), ctx.PostForm("secret")
	codes, err := s.office.ConfirmTOTP(ctx.Request.Context(), who, secret, ctx.PostForm("code"), ctx.PostForm("password"))
	if faults := faultsOf(err); faults != nil {
		if len(secret) > longestSecret {
			secret = ""
		}
		p, err := s.factorPage(ctx, secret)
		if err != nil {
			return answer{}, err
		}
		p.Faults = faults
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	own, err := s.office.Own(ctx.Request.Context(), who)
	if err != nil {
		return answer{}, err
	}
	p := &codesPage{Head: Head{Title: "Recovery codes", Crumbs: []Crumb{{"Your account", "/account"}}}, Login: own.Account.Login,
		Codes: codes, Made: s.today()}
	p.Needs = "The second factor is set up. Keep these codes: they are shown only now."
	return shown(p), nil
}

func (s *server) removeFactor(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	err := s.office.RemoveTOTP(ctx.Request.Context(), s.person(ctx), ctx.PostForm("password"))
	if faults := faultsOf(err); faults != nil {
		p, err := s.accountPage(ctx)
		if err != nil {
			return answer{}, err
		}
		p.FactorFaults, p.Needs = faults, "The second factor was not removed."
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	return goOn("/account?done=factor"), nil
}
