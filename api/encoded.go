package api

import (
	"bytes"
	"container/list"
	"sync"

	"evenhand/internal/screen"
)

// maxEncoded is how many bytes of encoded readings are kept.
const maxEncoded = 16 << 20

// encodedCache keeps the readings of screens as they are sent: a station that follows a screening day
// reads the same screens again and again. An entry holds for exactly the record that it was made from.
// Records are shared and never modified, so the same pointer is the same content; the cache needs not
// be told of writes.
type encodedCache struct {
	mu    sync.Mutex
	most  int
	size  int
	byID  map[string]*list.Element
	order *list.List // of encodedEntry, the one used last in front
}

type encodedEntry struct {
	rec  *screen.Record
	data []byte
}

func newEncodedCache(most int) *encodedCache {
	return &encodedCache{most: most, byID: map[string]*list.Element{}, order: list.New()}
}

// bytes is the body that lists the record's readings. It must not be modified.
func (c *encodedCache) bytes(rec *screen.Record) ([]byte, error) {
	if data := c.get(rec); data != nil {
		return data, nil
	}
	var buf bytes.Buffer
	if err := writeJSON(&buf, listOf(rec.Readings, "").Body); err != nil {
		return nil, err
	}
	data := bytes.Clone(buf.Bytes())
	c.put(rec, data)
	return data, nil
}

func (c *encodedCache) get(rec *screen.Record) []byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	e, ok := c.byID[rec.Screen.ID]
	if !ok || e.Value.(encodedEntry).rec != rec {
		return nil
	}
	c.order.MoveToFront(e)
	return e.Value.(encodedEntry).data
}

func (c *encodedCache) put(rec *screen.Record, data []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if e, ok := c.byID[rec.Screen.ID]; ok {
		c.drop(e)
	}
	c.byID[rec.Screen.ID] = c.order.PushFront(encodedEntry{rec, data})
	c.size += len(data)
	for c.size > c.most && c.order.Len() > 1 {
		c.drop(c.order.Back())
	}
}

func (c *encodedCache) drop(e *list.Element) {
	old := e.Value.(encodedEntry)
	c.size -= len(old.data)
	delete(c.byID, old.rec.Screen.ID)
	c.order.Remove(e)
}
