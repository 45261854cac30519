package clinic

import "sync"

// watch tells those who look at a day that something of it changed. It knows the changes that this
// process made.
type watch struct {
	mu sync.Mutex
	of map[string]map[chan struct{}]bool
}

// WatchDay gives a channel that is told after something of the day changed, and a function that ends
// the watch. Several changes may be told as one.
func (c *Clinic) WatchDay(day string) (changed <-chan struct{}, stop func()) {
	ch := make(chan struct{}, 1)
	w := &c.watch
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.of == nil {
		w.of = map[string]map[chan struct{}]bool{}
	}
	if w.of[day] == nil {
		w.of[day] = map[chan struct{}]bool{}
	}
	w.of[day][ch] = true
	return ch, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		delete(w.of[day], ch)
		if len(w.of[day]) == 0 {
			delete(w.of, day)
		}
	}
}

// tell never waits: who has not looked since the last change has been told already.
func (w *watch) tell(day string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for ch := range w.of[day] {
		select {
		case ch <- struct{}{}:
		default:
		}
	}
}
