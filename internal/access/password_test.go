package access

import (
	"encoding/hex"
	"math/rand/v2"
	"strings"
	"testing"
)

// TestReferenceHashes were made by the reference implementation of Argon2, Debian's command argon2
// (0~20171227), as in: printf password | argon2 somesalt -id -t 2 -k 65536 -p 1 -l 32. The first three
// are also among its own tests (src/test.c of phc-winner-argon2, version 19). The last two have the cost
// that the program uses.
func TestReferenceHashes(t *testing.T) {
	for _, c := range []struct {
		password, salt string
		cost           Cost
		tag, phc       string
	}{
		{"password", "somesalt", Cost{2, 65536, 1}, "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7",
			"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"},
		{"password", "somesalt", Cost{2, 256, 1}, "9dfeb910e80bad0311fee20f9c0e2b12c17987b4cac90c2ef54d5b3021c68bfe",
			"$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4"},
		{"password", "somesalt", Cost{2, 256, 2}, "6d093c501fd5999645e0ea3bf620d7b8be7fd2db59c20d9fff9539da2bf57037",
			"$argon2id$v=19$m=256,t=2,p=2$c29tZXNhbHQ$bQk8UB/VmZZF4Oo79iDXuL5/0ttZwg2f/5U52iv1cDc"},
		{"password", "somesalt", DefaultCost, "661fefbd6f29bcbc8f4646abc32a9d7a4645bb5c059537f8a5587f31adbecccd",
			"$argon2id$v=19$m=65536,t=3,p=4$c29tZXNhbHQ$Zh/vvW8pvLyPRkarwyqdekZFu1wFlTf4pVh/Ma2+zM0"},
		{"différent ways ahead", "evenhandsalt0001", DefaultCost, "faddd553efcf11728afdf1b8f5f628ad55b1c805bbfe96adb6c5e075409b77cc",
			"$argon2id$v=19$m=65536,t=3,p=4$ZXZlbmhhbmRzYWx0MDAwMQ$+t3VU+/PEXKK/fG49fYorVWxyAW7/pattsXgdUCbd8w"},
	} {
		p, err := ParsePHC(c.phc)
		if err != nil || p.Cost != c.cost || string(p.Salt) != c.salt || hex.EncodeToString(p.Tag) != c.tag || p.String() != c.phc {
			t.Errorf("%s: %+v (%v)", c.phc, p, err)
			continue
		}
		if !p.Check(c.password) {
			t.Errorf("%s: not %q", c.phc, c.password)
		}
		for _, wrong := range []string{"", "Password", "password ", "passwor"} {
			if p.Check(wrong) {
				t.Errorf("%s: also %q", c.phc, wrong)
			}
		}
	}
}

func TestNewPHC(t *testing.T) {
	random := rand.NewChaCha8([32]byte{2})
	cost := Cost{Time: 1, Memory: 8, Threads: 1}
	a, e1 := NewPHC(random, "a word", cost)
	b, e2 := NewPHC(random, "a word", cost)
	if e1 != nil || e2 != nil || a.String() == b.String() || len(a.Salt) != 16 || len(a.Tag) != 32 {
		t.Fatalf("%s, %s (%v, %v)", a, b, e1, e2)
	}
	back, err := ParsePHC(a.String())
	if err != nil || !back.Check("a word") || back.Check("another") {
		t.Errorf("%s does not read back (%v)", a, err)
	}
	if _, err := NewPHC(strings.NewReader("short"), "a word", cost); err == nil {
		t.Error("a hash without a salt")
	}
}

// TestParsePHCRefuses what is not in the form, and costs that would stop the program.
func TestParsePHCRefuses(t *testing.T) {
	const good = "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4"
	if _, err := ParsePHC(good); err != nil {
		t.Fatal(err)
	}
	for _, change := range [][2]string{
		{good, ""}, {"$argon2id", "argon2id"}, {"argon2id", "argon2i"}, {"v=19", "v=16"}, {"m=256", "m=0256"}, {"m=256", "m=7"},
		{"m=256", "m=4294967295"}, {"m=256", "m=-1"}, {"t=2", "t=0"}, {"t=2", "t=65"}, {"p=1", "p=0"}, {"p=1", "p=255"}, {"p=1", "p=1,x=1"},
		{"c29tZXNhbHQ", "c2E"}, {"c29tZXNhbHQ", "c29tZXNhbHQ="}, {"c29tZXNhbHQ", "c29tZXNhbHR"}, {"nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4", "nf65"},
		{"nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4", strings.Repeat("nf65", 100)}, {"Gi/4", "Gi/4$"}, {"Gi/4", "Gi/4\n"},
	} {
		bad := strings.Replace(good, change[0], change[1], 1)
		if p, err := ParsePHC(bad); err == nil {
			t.Errorf("%q was read as %+v", bad, p)
		}
	}
}

// BenchmarkDefaultCost is one hash as the program makes it.
func BenchmarkDefaultCost(b *testing.B) {
	random := rand.NewChaCha8([32]byte{3})
	b.ReportAllocs()
	for b.Loop() {
		if _, err := NewPHC(random, "four words that do not belong together", DefaultCost); err != nil {
			b.Fatal(err)
		}
	}
}
