package store

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

var crashes = flag.Int("crash", crashRounds, "how often TestCrash kills a process that writes")

const (
	crashWorkers = 4  // that write at the same time
	crashBatch   = 5  // readings in one write
	crashFile    = 25 // rounds with one file
	crashEnv     = "EVENHAND_TEST_CRASH"
)

// TestCrash kills a process that writes readings, copies the file and scrubs it, at moments that a seed
// picks: from while it opens the file to long into its work. Whatever it had acknowledged is there
// afterwards, nothing is half there, the audit has an entry for each write, and the file is whole.
func TestCrash(t *testing.T) {
	if args := os.Getenv(crashEnv); args != "" {
		crashChild(t, args)
		return
	}
	rng := rand.New(rand.NewPCG(20261125, 7))
	var file *crashed
	acked, early := 0, 0
	for round := range *crashes {
		if round%crashFile == 0 {
			file = &crashed{path: filepath.Join(t.TempDir(), "crash.db"), acked: map[string]int{}}
		}
		n := file.round(t, round, rng)
		if acked += n; n == 0 {
			early++
		}
		file.check(t)
		if t.Failed() {
			t.Fatalf("round %d", round)
		}
	}
	t.Logf("%d rounds, %d readings acknowledged; in %d rounds the process was killed before the first", *crashes, acked*crashBatch, early)
	if acked < *crashes {
		t.Errorf("only %d writes were acknowledged in %d rounds: this tests little", acked, *crashes)
	}
}

// crashed is a file whose writers were killed, with what they had acknowledged: writes by screen.
type crashed struct {
	path  string
	acked map[string]int
}

// round runs a process that writes and kills it. It returns how many writes it had acknowledged.
func (f *crashed) round(t *testing.T, round int, rng *rand.Rand) (writes int) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestCrash$")
	cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%d %d %s", crashEnv, round, rng.IntN(4), f.path))
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	// After so many lines, and a little later: the first lines come while it opens the file.
	after, later := rng.IntN(120), time.Duration(rng.IntN(6000))*time.Microsecond
	if rng.IntN(5) == 0 {
		after, later = rng.IntN(3), time.Duration(rng.IntN(30000))*time.Microsecond
	}
	kill := func() { time.AfterFunc(later, func() { _ = cmd.Process.Kill() }) }
	if after == 0 {
		kill()
	}
	in := bufio.NewReader(out)
	for n := 1; ; n++ {
		line, err := in.ReadString('\n')
		if err != nil { // a line without an end was not said
			break
		}
		if word, id, _ := strings.Cut(strings.TrimSpace(line), " "); word == "ack" {
			f.acked[id]++
			writes++
		} else if word != "begin" && word != "open" {
			t.Errorf("the process says %s", line)
		}
		if n == after {
			kill()
		}
	}
	if err := cmd.Wait(); err == nil || cmd.ProcessState.Exited() {
		t.Errorf("the process ended by itself: %v", cmd.ProcessState)
	}
	return writes
}

// check opens what the killed process left.
func (f *crashed) check(t *testing.T) {
	t.Helper()
	s, err := Open(t.Context(), f.path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	total, entries := 0, int64(0)
	read(t, s, func(tx *Tx) error {
		ids, err := tx.AthleteScreenIDs("A")
		if err != nil {
			return err
		}
		recs, err := tx.Records(ids)
		if err != nil {
			return err
		}
		for _, r := range recs {
			n := len(r.Readings) / crashBatch
			switch had := f.acked[r.Screen.ID]; {
			case len(r.Readings)%crashBatch != 0 || r.Screen.Revision != 1+n:
				t.Errorf("half a write: screen %s has %d readings at revision %d", r.Screen.ID, len(r.Readings), r.Screen.Revision)
			case n < had:
				t.Errorf("screen %s: %d writes were acknowledged, %d are there", r.Screen.ID, had, n)
			case n > had+1: // the last one was not acknowledged in time
				t.Errorf("screen %s: %d writes are there, %d were acknowledged", r.Screen.ID, n, had)
			}
			f.acked[r.Screen.ID] = n
			total += n
		}
		a, err := tx.CheckAudit()
		if a.Fault != "" {
			t.Error(a.Fault)
		}
		entries = a.Entries
		return err
	})
	sum := 0
	for _, n := range f.acked {
		sum += n
	}
	if total != sum || int64(total) != entries {
		t.Errorf("%d writes are there, %d were acknowledged, and the audit has %d", total, sum, entries)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	soundAt(t, f.path)
	left, err := filepath.Glob(f.path + ".copy*") // that was being made
	for _, path := range left {
		err = errors.Join(err, os.Remove(path))
	}
	if err != nil {
		t.Error(err)
	}
}

// crashChild writes until it is killed: each worker to a screen of its own, and says so when the write
// has returned. A part of the processes also copies the file, or scrubs it, over and over.
func crashChild(t *testing.T, args string) {
	parts := strings.SplitN(args, " ", 3)
	round, _ := strconv.Atoi(parts[0])
	say := func(line string) { _, _ = os.Stdout.WriteString(line + "\n") }
	say("begin")
	s, err := Open(t.Context(), parts[2], Options{})
	if err != nil {
		t.Fatal(err)
	}
	say("open")
	write(t, s, crashFill)
	stop := make(chan error)
	for w := range crashWorkers {
		go func() { stop <- crashWork(s, fmt.Sprintf("C%d-%d", round, w), say) }()
	}
	go func() {
		for i := 0; ; i++ {
			switch parts[1] {
			case "0":
				if err := s.Scrub(context.Background()); err != nil {
					stop <- err
				}
			case "1":
				to := fmt.Sprintf("%s.copy%d-%d", parts[2], round, i)
				if err := errors.Join(s.Backup(context.Background(), to), os.Remove(to)); err != nil {
					stop <- err
				}
			default:
				return
			}
		}
	}()
	t.Fatal(<-stop)
}

// crashFill makes what the readings belong to, if an earlier process did not.
func crashFill(tx *Tx) error {
	if _, err := tx.Team("T"); !screen.IsCode(err, screen.NotFound) {
		return err
	}
	if _, err := tx.PutTeam(team("T"), 0); err != nil {
		return err
	}
	_, err := tx.PutAthlete(athlete("A"), 0)
	return err
}

func crashWork(s *Store, id string, say func(string)) error {
	err := s.Write(context.Background(), func(tx *Tx) error { _, err := tx.PutScreen(screenOn(id, "A", "T", "2026-02-10"), 0); return err })
	for i := 0; err == nil; i++ {
		err = s.Write(context.Background(), func(tx *Tx) error {
			list := readings(id, crashBatch)
			for k := range list {
				list[k].ID = fmt.Sprintf("%s-%d-%d", id, i, k)
			}
			if _, err := tx.PutReadings(id, list, onFives); err != nil {
				return err
			}
			return tx.AppendAudit(access.Entry{Who: "p", Action: access.Record, Outcome: access.Done, Subject: id})
		})
		if err == nil {
			say("ack " + id)
		}
	}
	return err
}
