package main

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"evenhand/internal/keeping"
	"evenhand/internal/ops"
	"evenhand/internal/store"
)

// leastRoom is how many bytes the disk must have left: below it a screening day may not fit any more.
const leastRoom = 64 << 20

// readiness says whether the program can serve. Why it cannot goes into the log once, not to who asks.
type readiness struct {
	store  *store.Store
	file   string
	log    *slog.Logger
	ending atomic.Bool
	late   func(context.Context) error // whether backups are not made as planned
	said   atomic.Pointer[string]
}

func (r *readiness) check(ctx context.Context) error {
	err := r.fault(ctx)
	text := ""
	if err != nil {
		text = err.Error()
	}
	if before := r.said.Swap(&text); text != "" && (before == nil || *before != text) {
		r.log.Warn("not ready", "why", text)
	}
	return err
}

func (r *readiness) fault(ctx context.Context) error {
	if r.ending.Load() {
		return errors.New("the program is ending")
	}
	if _, err := r.entries(ctx); err != nil {
		return errors.New("the database file does not answer")
	}
	if free, known := keeping.Room(filepath.Dir(r.file)); known && free < leastRoom {
		return errors.New("the disk is nearly full")
	}
	if r.late != nil {
		return r.late(ctx)
	}
	return nil
}

// entries is how many entries the audit has.
func (r *readiness) entries(ctx context.Context) (n float64, err error) {
	err = r.store.Read(ctx, func(tx *store.Tx) error {
		last, err := tx.LastAudit()
		if last != nil {
			n = float64(last.Seq)
		}
		return err
	})
	return n, err
}

// bytes is the size of the file with its log.
func (r *readiness) bytes() (float64, error) {
	i, err := os.Stat(r.file)
	if err != nil {
		return 0, err
	}
	n := i.Size()
	if log, err := os.Stat(r.file + "-wal"); err == nil {
		n += log.Size()
	}
	return float64(n), nil
}

// lookWithin is how long the figures for the counters may take.
const lookWithin = 5 * time.Second

// sources are the figures that counters ask for.
func (r *readiness) sources() ops.Sources {
	within := func() (context.Context, context.CancelFunc) {
		return context.WithTimeout(context.Background(), lookWithin)
	}
	return ops.Sources{StoreBytes: r.bytes,
		AuditEntries: func() (float64, error) {
			ctx, cancel := within()
			defer cancel()
			return r.entries(ctx)
		},
		Ready: func() error {
			ctx, cancel := within()
			defer cancel()
			return r.check(ctx)
		}}
}
