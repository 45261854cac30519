package keeping

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
	"unicode/utf8"

	"filippo.io/age"
)

// Lock says to whom copies are encrypted, in the open format age (age-encryption.org/v1). The zero Lock
// leaves them as they are.
type Lock struct{ recipients []age.Recipient }

// Encrypts reports whether there is somebody to encrypt to.
func (l *Lock) Encrypts() bool { return len(l.recipients) > 0 }

// leastPassphrase is the length below which a passphrase could be guessed from a stolen copy.
const leastPassphrase = 16

// NewLock encrypts to the recipients given (age1…), or by the passphrase in a file; not both. With
// neither nothing is encrypted.
func NewLock(recipients []string, passphraseFile string) (Lock, error) {
	if len(recipients) > 0 && passphraseFile != "" {
		return Lock{}, errors.New("a copy is encrypted to recipients or by a passphrase: leave one out")
	}
	var l Lock
	for _, text := range recipients {
		list, err := age.ParseRecipients(strings.NewReader(text))
		if err != nil || len(list) != 1 {
			return Lock{}, fmt.Errorf("%q is no recipient: it begins with age1, as `evenhand backup-key` prints it", text)
		}
		l.recipients = append(l.recipients, list[0])
	}
	if passphraseFile != "" {
		phrase, err := readPassphrase(passphraseFile)
		if err != nil {
			return Lock{}, err
		}
		r, err := age.NewScryptRecipient(phrase)
		if err != nil {
			return Lock{}, err
		}
		l.recipients = append(l.recipients, r)
	}
	return l, nil
}

// readPassphrase is the first line of a file.
func readPassphrase(file string) (string, error) {
	f, err := os.Open(file)
	if err != nil {
		return "", fmt.Errorf("the passphrase: %w", err)
	}
	line, err := bufio.NewReader(io.LimitReader(f, 4096)).ReadString('\n')
	if err = errors.Join(ignoreEnd(err), f.Close()); err != nil {
		return "", fmt.Errorf("the passphrase: %w", err)
	}
	line = strings.TrimRight(line, "\r\n")
	if n := utf8.RuneCountInString(line); n < leastPassphrase {
		return "", fmt.Errorf("the passphrase is the first line of %s and has %d characters: it must have %d or more", file, n, leastPassphrase)
	}
	return line, nil
}

func ignoreEnd(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// seal writes the file at from, encrypted, to a new file at to.
func (l *Lock) seal(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	w, err := age.Encrypt(out, l.recipients...)
	if err != nil {
		return err
	}
	if _, err := io.Copy(w, in); err != nil {
		return err
	}
	return w.Close()
}

// Key opens encrypted copies. The zero Key opens none.
type Key struct{ identities []age.Identity }

// NewKey opens copies with the keys in a file, as `evenhand backup-key` writes it, or with the passphrase
// in a file. With neither it opens none.
func NewKey(identityFile, passphraseFile string) (Key, error) {
	var k Key
	if identityFile != "" {
		f, err := os.Open(identityFile)
		if err != nil {
			return k, fmt.Errorf("the key: %w", err)
		}
		list, err := age.ParseIdentities(f)
		if err = errors.Join(err, f.Close()); err != nil {
			return k, fmt.Errorf("%s has no key in it: it begins with AGE-SECRET-KEY-1, as `evenhand backup-key` writes it", identityFile)
		}
		k.identities = list
	}
	if passphraseFile != "" {
		phrase, err := readPassphrase(passphraseFile)
		if err != nil {
			return k, err
		}
		i, err := age.NewScryptIdentity(phrase)
		if err != nil {
			return k, err
		}
		k.identities = append(k.identities, i)
	}
	return k, nil
}

// sealedBegin is how every encrypted copy begins.
const sealedBegin = "age-encryption.org/v1\n"

// open reads a copy that may be encrypted. All that was read is what was written if the reader ends
// without an error.
func (k *Key) open(f io.Reader) (_ io.Reader, encrypted bool, _ error) {
	in := bufio.NewReader(f)
	begin, err := in.Peek(len(sealedBegin))
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, false, err
	}
	encrypted = string(begin) == sealedBegin
	switch {
	case !encrypted && len(k.identities) > 0:
		return nil, false, errors.New("the file is not encrypted although a key was given: if it should be, it was replaced; if not, leave the key out")
	case !encrypted:
		return in, false, nil
	case len(k.identities) == 0:
		return nil, true, errors.New("the file is encrypted: give the key that opens it, with --identity or --passphrase-file")
	}
	out, err := age.Decrypt(in, k.identities...)
	if errors.As(err, new(*age.NoIdentityMatchError)) {
		return nil, true, errors.New("the key that was given does not open this file")
	}
	if err != nil {
		return nil, true, fmt.Errorf("the file cannot be opened, it is damaged: %w", err)
	}
	return out, true, nil
}

// NewKeyFile makes a key and writes it to a new file, which only its owner may read. Returns the
// recipient to encrypt to.
func NewKeyFile(path string, now time.Time) (recipient string, err error) {
	id, err := age.GenerateX25519Identity()
	if err != nil {
		return "", err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", err
	}
	recipient = id.Recipient().String()
	_, err = fmt.Fprintf(f, "# created: %s\n# public key: %s\n%s\n", now.UTC().Format(time.RFC3339), recipient, id)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return "", errors.Join(err, os.Remove(path))
	}
	return recipient, nil
}
