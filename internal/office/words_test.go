package office

import (
	"strings"
	"testing"

	"github.com/trustelem/zxcvbn/frequency"

	"evenhand/internal/screen"
)

func TestCheckPassword(t *testing.T) {
	const long = "eight tame otters drum near the door; "
	for name, c := range map[string]struct{ password, want string }{
		"words":                 {good, ""},
		"exactly the least":     {"tall trees fell", ""},
		"with spaces around":    {" tall trees fel", ""},
		"in another script":     {"высокие деревья", ""},
		"with any character":    {"tall\ttrees\x00fell😀", ""},
		"nothing but signs":     {"$%^*()_+{}|:<>=", ""},
		"one of the parts":      {"chief of three tall trees", ""},
		"none":                  {"", "there is no password"},
		"one too few":           {"tall trees fel", "the password has 14 characters"},
		"few in many bytes":     {"😀😀😀😀😀😀😀😀😀😀", "the password has 10 characters"},
		"few after normalising": {"ta\u0308ll tre\u0308es fel", "the password has 14 characters"},
		"the most":              {(long + long + long + long)[:128], ""},
		"one too many":          {(long + long + long + long)[:129], "the password is too long"},
		"very many":             {strings.Repeat("x", 1<<20), "the password is too long"},
		"broken":                {"three tall trees\xff", "the password is not text"},
		"common":                {"passwordstandard", "tried first"},
		"common twice":          {"passwordpassword", "tried first"},
		"a row of keys":         {"qwertyuiopasdfgh", "tried first"},
		"digits":                {"123456789012345", "tried first"},
		"one letter":            {strings.Repeat("a", 15), "tried first"},
		"repeated":              {strings.Repeat("abc", 40), "tried first"},
		"this program":          {"evenhand2026!!!", "little more than your login"},
		"login twice":           {"uma.chief-uma.chief", "little more than your login"},
		"name and year":         {"Uma ALDERSHOT 2026", "little more than your login"},
		"wide letters":          {"ｅｖｅｎｈａｎｄ2026!!!", "little more than your login"},
	} {
		var f screen.Faults
		checkPassword(&f, c.password, "uma.chief", "Uma Aldershot")
		switch {
		case c.want == "" && len(f) != 0:
			t.Errorf("%s: %v", name, f)
		case c.want != "" && (len(f) != 1 || f[0].Where != "password" || !strings.Contains(f[0].Problem, c.want) || f[0].Want == "" || f[0].Value != ""):
			t.Errorf("%s: %v, want %q", name, f, c.want)
		}
	}
}

// TestCommonPasswords refuses every one of the library's 30,000 that is long enough to be one at all.
func TestCommonPasswords(t *testing.T) {
	n := 0
	for _, p := range frequency.FrequencyLists["passwords"] {
		if len(p) < MinPassword {
			continue
		}
		n++
		var f screen.Faults
		if checkPassword(&f, p); len(f) != 1 {
			t.Errorf("%s is taken", p)
		}
	}
	if n < 20 {
		t.Errorf("only %d passwords were looked at", n)
	}
}

// BenchmarkCheckPassword is the longest one, of the kind that takes longest.
func BenchmarkCheckPassword(b *testing.B) {
	p := strings.Repeat("p4ssw0rd!", 15)[:128]
	for b.Loop() {
		var f screen.Faults
		checkPassword(&f, p, "login", "Name")
	}
}
