package access

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"io"
	"strings"
)

const (
	secretBytes  = 32 // 256 bits: nobody guesses one, so a plain hash of it may be kept
	secretLength = 43 // of its text
	// TokenPrefix begins a token of the API, so that one that lies about is known for what it is.
	TokenPrefix = "evh_"
)

// NewSecret makes the secret of a cookie or of a link: 256 bits in 43 characters that an address may
// hold (RFC 4648, base64url without padding).
func NewSecret(random io.Reader) (string, error) {
	b := make([]byte, secretBytes)
	if _, err := io.ReadFull(random, b); err != nil {
		return "", fmt.Errorf("no random numbers: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(b), nil
}

// NewToken makes a token of the API: a secret behind TokenPrefix.
func NewToken(random io.Reader) (string, error) {
	s, err := NewSecret(random)
	return TokenPrefix + s, err
}

// HashSecret is what is kept of a secret: SHA-256 in hexadecimal digits. ok is false for what cannot be
// one of NewSecret's.
func HashSecret(secret string) (hash string, ok bool) {
	if len(secret) != secretLength {
		return "", false
	}
	// Strict: the last character has two bits to spare, and two texts would be one secret.
	if b, err := base64.RawURLEncoding.Strict().DecodeString(secret); err != nil || len(b) != secretBytes {
		return "", false
	}
	return HashText(secret), true
}

// HashToken is HashSecret for a token.
func HashToken(token string) (hash string, ok bool) {
	secret, found := strings.CutPrefix(token, TokenPrefix)
	if !found {
		return "", false
	}
	return HashSecret(secret)
}

// HashText is SHA-256 of a text in hexadecimal digits.
func HashText(text string) string {
	h := sha256.Sum256([]byte(text))
	return hex.EncodeToString(h[:])
}
