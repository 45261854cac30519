package screen

import (
	"fmt"
	"strings"
)

// Words says whom a condition is about; "everyone" if it asks for nothing.
func (w *When) Words() string {
	var parts []string
	switch {
	case w.AgeFrom != nil && w.AgeBelow != nil:
		parts = append(parts, fmt.Sprintf("from %g to below %g years", *w.AgeFrom, *w.AgeBelow))
	case w.AgeFrom != nil:
		parts = append(parts, fmt.Sprintf("from %g years", *w.AgeFrom))
	case w.AgeBelow != nil:
		parts = append(parts, fmt.Sprintf("below %g years", *w.AgeBelow))
	}
	if w.Sex != "" {
		parts = append(parts, string(w.Sex))
	}
	for _, l := range w.Levels {
		parts = append(parts, string(l))
	}
	parts = append(append(parts, w.Sports...), w.Positions...)
	if w.Profile != "" {
		parts = append(parts, strings.ReplaceAll(w.Profile, "_", " "))
	}
	if w.ArmsBearLoad != nil {
		parts = append(parts, map[bool]string{true: "arms bear weight", false: "arms bear no weight"}[*w.ArmsBearLoad])
	}
	if len(parts) == 0 {
		return "everyone"
	}
	return strings.Join(parts, ", ")
}
