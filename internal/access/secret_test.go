package access

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"
)

func TestNewSecret(t *testing.T) {
	random := rand.NewChaCha8([32]byte{1})
	a, e1 := NewSecret(random)
	b, e2 := NewSecret(random)
	if e1 != nil || e2 != nil || a == b || len(a) != 43 {
		t.Fatalf("%q, %q (%v, %v)", a, b, e1, e2)
	}
	if _, err := NewSecret(bytes.NewReader(make([]byte, 31))); err == nil {
		t.Error("a secret was made of 31 bytes")
	}
	if _, err := NewToken(bytes.NewReader(nil)); err == nil {
		t.Error("a token was made of nothing")
	}
}

// TestHashSecret takes nothing for a secret but what NewSecret makes: not a character more or less, nor
// another spelling of the same bytes.
func TestHashSecret(t *testing.T) {
	zero, err := NewSecret(bytes.NewReader(make([]byte, 32)))
	if err != nil {
		t.Fatal(err)
	}
	// SHA-256 of 43 letters A, by coreutils' sha256sum.
	const want = "0f007385b6f9d4b7eeb2748605afe1a984a0a3bfa3f014d09e2a784ce9e5cd1a"
	if hash, ok := HashSecret(zero); !ok || hash != want {
		t.Errorf("the hash of %q is %s, want %s", zero, hash, want)
	}
	for name, s := range map[string]string{
		"empty": "", "truncated": zero[:42], "longer": zero + "A", "padded": zero[:42] + "=", "another alphabet": "+" + zero[1:],
		"spare bits set": zero[:42] + "B", "line": zero[:42] + "\n", "long": strings.Repeat("A", 1<<20), "token": TokenPrefix + zero,
	} {
		if _, ok := HashSecret(s); ok {
			t.Errorf("%s: taken for a secret", name)
		}
	}
	if hash, ok := HashToken(TokenPrefix + zero); !ok || hash != want {
		t.Errorf("the hash of the token is %s", hash)
	}
	for _, s := range []string{zero, TokenPrefix, TokenPrefix + zero[1:], "EVH_" + zero, " " + TokenPrefix + zero} {
		if _, ok := HashToken(s); ok {
			t.Errorf("%q: taken for a token", s)
		}
	}
}
