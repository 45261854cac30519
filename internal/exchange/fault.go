package exchange

import (
	"fmt"
	"strings"

	"evenhand/internal/screen"
)

// maxFaults is how many faults of one input are told; the others are only counted.
const maxFaults = 100

// collector gathers the faults of one input.
type collector struct {
	list  screen.Faults
	total int
}

func (c *collector) full() bool { return len(c.list) >= maxFaults }

func (c *collector) add(f screen.Fault) {
	c.total++
	if !c.full() {
		c.list = append(c.list, f)
	}
}

// count counts a fault that need not be told because enough were, and reports whether that is so. It
// saves the search for the nearest name, which costs more than the reading itself.
func (c *collector) count() bool {
	if c.full() {
		c.total++
	}
	return c.full()
}

func (c *collector) all(fs screen.Faults) {
	for _, f := range fs {
		c.add(f)
	}
}

// err is all that was gathered, nil if nothing was.
func (c *collector) err() error {
	if more := c.total - len(c.list); more > 0 {
		return append(c.list[:len(c.list):len(c.list)], screen.Fault{
			Problem: fmt.Sprintf("and %d more", more), Want: "put the faults above right first"})
	}
	return c.list.Err()
}

// nearWords suggests the candidate that s is nearest to, or lists them.
func nearWords(s string, candidates []string) string {
	if near := screen.Nearest(s, candidates); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	if len(candidates) > 40 {
		return ""
	}
	return "one of: " + strings.Join(candidates, ", ")
}

// clip shortens a value that is shown in a fault. It cuts between runes, so that the fault stays text.
func clip(s string, n int) string {
	for i := range s {
		if i >= n {
			return s[:i] + "…"
		}
	}
	return s
}

// oneFault is a single fault as an error.
func oneFault(f screen.Fault) error { return screen.Faults{f} }
