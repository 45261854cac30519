package store

import (
	"fmt"
	"testing"

	"evenhand/internal/screen"
)

// dayScreens writes a screen for each of n athletes of dayStore, named S1 and so on.
func dayScreens(t testing.TB, s *Store, n int) {
	t.Helper()
	write(t, s, func(tx *Tx) error {
		for i := range n {
			if _, err := tx.PutScreen(screenOn(fmt.Sprintf("S%d", i+1), fmt.Sprintf("A%d", i+1), "T", "2026-02-10"), 0); err != nil {
				return err
			}
		}
		return nil
	})
}

// stationSends writes n readings at each of several screens and logs them, in one transaction; i tells
// one call from the next.
func stationSends(tx *Tx, i, screens, n int) error {
	var log []screen.DayEntry
	for k := range screens {
		id := fmt.Sprintf("S%d", k+1)
		rs := readings(id, n)
		for j := range rs {
			e := dayEntries((i*screens+k)*n+j, 1)[0]
			rs[j].ID = e.ID
			log = append(log, e)
		}
		if _, err := tx.PutReadings(id, rs, onFives); err != nil {
			return err
		}
	}
	_, err := tx.AddDayEntries("D", log)
	return err
}

// BenchmarkStation is what a station sends, on the disk at the end: one reading, or what a device kept
// while it had no network, 200 readings of 20 athletes. Screens are bounded, as a day's are: each
// holds a share of all.
func BenchmarkStation(b *testing.B) {
	for _, c := range []struct{ screens, readings int }{{1, 1}, {20, 10}} {
		b.Run(fmt.Sprintf("readings=%d", c.screens*c.readings), func(b *testing.B) {
			s := dayStore(b)
			dayScreens(b, s, c.screens)
			median(b, "writes", func(i int) {
				write(b, s, func(tx *Tx) error { return stationSends(tx, i, c.screens, c.readings) })
			})
		})
	}
}

// BenchmarkDayEntries reads the log of a day of 5,000 entries, as the first look at a board does, and
// the ten after the last look.
func BenchmarkDayEntries(b *testing.B) {
	s := dayStore(b)
	const total = 5000
	write(b, s, func(tx *Tx) error { return second(tx.AddDayEntries("D", dayEntries(0, total))) })
	for _, n := range []int{total, 10} {
		b.Run(fmt.Sprintf("entries=%d", n), func(b *testing.B) {
			median(b, "logs", func(int) {
				read(b, s, func(tx *Tx) error {
					list, err := tx.DayEntries("D", total-n)
					if err == nil && len(list) != n {
						err = fmt.Errorf("%d entries", len(list))
					}
					return err
				})
			})
		})
	}
}
