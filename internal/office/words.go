package office

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/trustelem/zxcvbn"
	"golang.org/x/text/unicode/norm"

	"evenhand/internal/screen"
)

// Lengths of a password in characters, after normalisation. NIST SP 800-63B-4 asks for at least 15 where
// a password is the only factor, which it may be here, and for at least 64 to be accepted; OWASP ASVS
// 5.0 recommends the same 15. There is no rule of what kinds of character are in it.
const (
	MinPassword = 15
	MaxPassword = 128
)

const (
	mostNameLength = 100
	leastOwn       = 8 // characters that are left of a password without the words that everybody knows
	leastScore     = 3 // of zxcvbn: more than 10^8 guesses
)

const wantPhrase = "at least 15 characters, such as four words that do not belong together; spaces are allowed"

// normalPassword is a password as it is hashed: in the one form of Unicode that the same characters
// have on every keyboard (NFKC). What is longer than any password may be is none: "".
func normalPassword(password string) string {
	if len(password) > 16*MaxPassword {
		return ""
	}
	return norm.NFKC.String(password)
}

// checkPassword adds what is wrong with a new password. about are words that belong to the account:
// login and name.
func checkPassword(f *screen.Faults, password string, about ...string) {
	p := normalPassword(password)
	n := utf8.RuneCountInString(p)
	switch {
	case password == "":
		f.Add("password", wantPhrase, "there is no password")
	case n == 0 || n > MaxPassword:
		f.Add("password", "at most 128 characters", "the password is too long")
	case !utf8.ValidString(p):
		f.Add("password", "text in UTF-8", "the password is not text")
	case n < MinPassword:
		f.Add("password", wantPhrase, "the password has %d characters", n)
	case littleOwn(p, about):
		f.Add("password", wantPhrase, "the password is little more than your login, your name or the name of this program")
	case zxcvbn.PasswordStrength(p, append(words(about), program)).Score < leastScore:
		f.Add("password", wantPhrase, "the password is one of those that are tried first: a common one, a row of keys, or something repeated")
	}
}

const program = "evenhand"

// words are the parts of texts that are long enough to be recognised in a password.
func words(about []string) (out []string) {
	for _, text := range about {
		for _, w := range strings.FieldsFunc(strings.ToLower(norm.NFKC.String(text)), func(r rune) bool {
			return !unicode.IsLetter(r) && !unicode.IsDigit(r)
		}) {
			if utf8.RuneCountInString(w) >= 3 {
				out = append(out, w)
			}
		}
	}
	return out
}

// littleOwn reports whether there are words in a password that everybody knows, and little else but
// what people put between words.
func littleOwn(password string, about []string) bool {
	p := strings.ToLower(password)
	rest := p
	for _, w := range append(words(about), program) {
		rest = strings.ReplaceAll(rest, w, "")
	}
	n := 0
	for _, r := range rest {
		if !unicode.IsPunct(r) && !unicode.IsSpace(r) {
			n++
		}
	}
	return rest != p && n < leastOwn
}

var loginForm = regexp.MustCompile(`^[a-z0-9._@+-]{3,64}$`)

// normalLogin is a login as it is kept: in lower case, without spaces around it.
func normalLogin(login string) string { return strings.ToLower(strings.TrimSpace(login)) }

func checkLogin(f *screen.Faults, login string) {
	if !loginForm.MatchString(login) {
		f.Add("login", "3 to 64 letters a to z, digits and . _ - @ +", "this cannot be a login")
	}
}

// cleanName is a name without spaces around it; what is wrong with it is added.
func cleanName(f *screen.Faults, name string) string {
	const where = "name"
	name = strings.TrimSpace(name)
	switch {
	case name == "":
		f.Add(where, "a name", "there is no name")
	case utf8.RuneCountInString(name) > mostNameLength:
		f.Add(where, "at most 100 characters", "the name is too long")
	case !utf8.ValidString(name) || strings.ContainsFunc(name, unicode.IsControl) || !screen.Plain(name):
		f.Add(where, "a name in one line", "there are characters in the name that cannot be shown")
	}
	return name
}

// cleanDevice is what a browser says of itself, as it may be kept.
func cleanDevice(device string) string {
	device = strings.Map(func(r rune) rune {
		if r == utf8.RuneError || !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, device)
	if r := []rune(device); len(r) > mostNameLength {
		device = string(r[:mostNameLength])
	}
	return device
}
