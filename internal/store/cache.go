package store

import (
	"container/list"
	"sync"

	"evenhand/internal/screen"
)

// cache keeps the records that were used last, each with the revisions that it was made at. It is not
// told of writes: whoever asks has just read the revisions from the file.
type cache struct {
	mu    sync.Mutex
	size  int
	byID  map[string]*list.Element
	order *list.List // of cacheEntry, the one used last in front
}

type cacheEntry struct {
	rev revisionRow
	rec *screen.Record
}

func newCache(size int) *cache {
	return &cache{size: size, byID: make(map[string]*list.Element), order: list.New()}
}

// get is the record of the screen rev.ID at exactly these revisions, nil if it is not here.
func (c *cache) get(rev revisionRow) *screen.Record {
	c.mu.Lock()
	defer c.mu.Unlock()
	e, ok := c.byID[rev.ID]
	if !ok || e.Value.(cacheEntry).rev != rev {
		return nil
	}
	c.order.MoveToFront(e)
	return e.Value.(cacheEntry).rec
}

// put keeps rec in place of what is kept of the same screen, and drops the record used longest ago if
// there are too many.
func (c *cache) put(rev revisionRow, rec *screen.Record) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if e, ok := c.byID[rev.ID]; ok {
		c.order.Remove(e)
	}
	c.byID[rev.ID] = c.order.PushFront(cacheEntry{rev, rec})
	if c.order.Len() > c.size {
		last := c.order.Back()
		delete(c.byID, last.Value.(cacheEntry).rev.ID)
		c.order.Remove(last)
	}
}

// clear drops everything.
func (c *cache) clear() {
	c.mu.Lock()
	defer c.mu.Unlock()
	clear(c.byID)
	c.order.Init()
}
