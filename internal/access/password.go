package access

import (
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Cost is that of argon2id: passes, memory in KiB, threads.
type Cost struct {
	Time, Memory uint32
	Threads      uint8
}

// DefaultCost is the second recommended option of RFC 9106, section 4: three passes over 64 MiB by four
// threads, for machines that have no 2 GiB to spare for the first one. It is well above the least that
// OWASP's Password Storage Cheat Sheet asks for (19 MiB, two passes, one thread).
var DefaultCost = Cost{Time: 3, Memory: 64 << 10, Threads: 4}

const (
	saltBytes = 16 // RFC 9106, section 4
	tagBytes  = 32
	// Bounds of what is computed for a string that is on file: a file that somebody changed must not be
	// able to stop the program.
	mostMemory = 1 << 20 // KiB
	mostTime   = 64
	mostTag    = 64
)

// PHC is a password's hash with all that is needed to check it.
type PHC struct {
	Cost      Cost
	Salt, Tag []byte
}

// NewPHC hashes a password with a new salt.
func NewPHC(random io.Reader, password string, cost Cost) (PHC, error) {
	salt := make([]byte, saltBytes)
	if _, err := io.ReadFull(random, salt); err != nil {
		return PHC{}, fmt.Errorf("no random numbers: %w", err)
	}
	return PHC{cost, salt, argon2.IDKey([]byte(password), salt, cost.Time, cost.Memory, cost.Threads, tagBytes)}, nil
}

// String is the PHC string, $argon2id$v=19$m=65536,t=3,p=4$salt$tag, with base64 without padding.
func (p PHC) String() string {
	e := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, p.Cost.Memory, p.Cost.Time, p.Cost.Threads,
		e.EncodeToString(p.Salt), e.EncodeToString(p.Tag))
}

var errPHC = errors.New("not a PHC string of argon2id, version 19, with m, t and p in bounds")

// ParsePHC undoes PHC.String.
func ParsePHC(text string) (PHC, error) {
	part := strings.Split(text, "$")
	if len(part) != 6 || part[0] != "" || part[1] != "argon2id" || part[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return PHC{}, errPHC
	}
	var p PHC
	if n, err := fmt.Sscanf(part[3], "m=%d,t=%d,p=%d", &p.Cost.Memory, &p.Cost.Time, &p.Cost.Threads); n != 3 || err != nil {
		return PHC{}, errPHC
	}
	e := base64.RawStdEncoding.Strict()
	var e1, e2 error
	p.Salt, e1 = e.DecodeString(part[4])
	p.Tag, e2 = e.DecodeString(part[5])
	c := p.Cost
	if e1 != nil || e2 != nil || p.String() != text || len(p.Salt) < 8 || len(p.Tag) < 16 || len(p.Tag) > mostTag ||
		c.Time < 1 || c.Time > mostTime || c.Threads < 1 || c.Memory < 8*uint32(c.Threads) || c.Memory > mostMemory {
		return PHC{}, errPHC
	}
	return p, nil
}

// Check reports whether the password is the one that was hashed. It takes the same time whatever is
// wrong with it.
func (p PHC) Check(password string) bool {
	got := argon2.IDKey([]byte(password), p.Salt, p.Cost.Time, p.Cost.Memory, p.Cost.Threads, uint32(len(p.Tag)))
	return subtle.ConstantTimeCompare(got, p.Tag) == 1
}
