package keeping

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/store"
)

// Plan says where copies are written on a schedule, how often, and how many are kept. The tags make it a
// group of flags of a command. The zero Plan is no schedule.
type Plan struct {
	Dir            string        `help:"Folder to write a copy of the database to on a schedule; it must be there." placeholder:"DIR" env:"EVENHAND_BACKUP_DIR"`
	Every          time.Duration `help:"How often to write a copy." default:"24h" env:"EVENHAND_BACKUP_EVERY"`
	Keep           int           `help:"How many copies to keep; older ones of this database are removed." default:"14" env:"EVENHAND_BACKUP_KEEP"`
	Recipient      []string      `help:"Encrypt the copies to this recipient, age1…, as evenhand backup-key prints it." placeholder:"RECIPIENT" env:"EVENHAND_BACKUP_RECIPIENT"`
	PassphraseFile string        `help:"Encrypt the copies by the passphrase that is the first line of this file." placeholder:"FILE" env:"EVENHAND_BACKUP_PASSPHRASE_FILE"`
}

const (
	leastEvery = time.Minute
	retryAfter = 10 * time.Minute // after a copy that failed; sooner if copies are more frequent
	lateFactor = 2                // intervals without a copy after which something is wrong
)

// Keeper writes copies on a schedule until it is closed.
type Keeper struct {
	world  *World
	store  *store.Store
	plan   Plan
	lock   Lock
	began  time.Time
	cancel context.CancelFunc
	done   chan struct{}
}

// Start begins to write copies of st's file by a plan: the first one at once if the newest is older than
// the plan's interval. Without a folder in the plan nothing is written, and what was planned before is
// forgotten. Close the Keeper before st.
func Start(ctx context.Context, w World, st *store.Store, plan Plan) (*Keeper, error) {
	k := &Keeper{world: &w, store: st, plan: plan, began: w.Now(), cancel: func() {}, done: make(chan struct{})}
	record := store.BackupPlan{}
	if plan.Dir != "" {
		if err := k.check(); err != nil {
			return nil, err
		}
		record = store.BackupPlan{Every: plan.Every, Keep: plan.Keep}
	}
	if err := k.putPlan(ctx, record); err != nil {
		return nil, err
	}
	if plan.Dir == "" {
		close(k.done)
		return k, nil
	}
	ctx, k.cancel = context.WithCancel(access.WithRequest(context.WithoutCancel(ctx), access.Request{Via: "serve --backup-dir"}))
	go k.run(ctx)
	return k, nil
}

func (k *Keeper) check() (err error) {
	info, err := os.Stat(k.plan.Dir)
	switch {
	case err != nil:
		return fmt.Errorf("the folder for copies: %w", err)
	case !info.IsDir():
		return fmt.Errorf("the folder for copies, %s, is a file", k.plan.Dir)
	case k.plan.Every < leastEvery:
		return fmt.Errorf("a copy every %v is too often: at most one a minute", k.plan.Every)
	case k.plan.Keep < 1:
		return fmt.Errorf("%d copies cannot be kept: at least 1", k.plan.Keep)
	}
	k.lock, err = NewLock(k.plan.Recipient, k.plan.PassphraseFile)
	return err
}

// putPlan puts a plan on record if it is not the one that is. A last failure stays on record until a
// copy goes well.
func (k *Keeper) putPlan(ctx context.Context, p store.BackupPlan) error {
	return k.store.Write(ctx, func(tx *store.Tx) error {
		old, err := tx.BackupPlan()
		if err != nil {
			return err
		}
		if p.Every != 0 && p.Failed.IsZero() {
			p.Failed, p.Why = old.Failed, old.Why
		}
		if p == old {
			return nil
		}
		return tx.PutBackupPlan(p)
	})
}

// Close ends the schedule; a copy that is being written is given up.
func (k *Keeper) Close() {
	k.cancel()
	<-k.done
}

func (k *Keeper) run(ctx context.Context) {
	defer close(k.done)
	for wait := k.first(ctx); ; {
		timer := time.NewTimer(wait)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-timer.C:
		}
		wait = k.plan.Every
		if err := k.once(ctx); err != nil && ctx.Err() == nil {
			k.world.Log.Error("a scheduled backup failed", "error", err.Error())
			wait = min(wait, retryAfter)
		}
	}
}

// first is how long it is until the first copy is due.
func (k *Keeper) first(ctx context.Context) time.Duration {
	good, _, err := k.standing(ctx)
	if err != nil || len(good) == 0 {
		return 0
	}
	return min(k.plan.Every, max(0, k.plan.Every-k.world.Now().Sub(good[0].At))) // a clock may have been put back
}

// once writes a copy, removes those that are too old, and puts on record how it went.
func (k *Keeper) once(ctx context.Context) error {
	// By its name: where the folder is gone, no file is to be made in its place.
	path := filepath.Join(k.plan.Dir, copyName(k.world.Now(), k.lock.Encrypts()))
	made, err := Backup(ctx, k.world, k.store, &scheduled, path, k.lock)
	switch {
	case err == nil:
		err = k.rotate(ctx)
	case made != nil: // not on record, so it would never be removed
		err = errors.Join(err, os.Remove(made.Path))
	}
	p := store.BackupPlan{Every: k.plan.Every, Keep: k.plan.Keep}
	if err != nil {
		if ctx.Err() != nil { // given up
			return err
		}
		p.Failed, p.Why = k.world.Now().UTC(), err.Error()
		return errors.Join(err, k.putPlan(ctx, p))
	}
	return k.store.Write(ctx, func(tx *store.Tx) error { return tx.PutBackupPlan(p) })
}

// standing lists the copies of this file that are in the folder, the newest first: those that were made
// by a schedule's name, are on record, and have the size that is on record; and apart from them those
// whose size is another one.
func (k *Keeper) standing(ctx context.Context) (good, odd []store.Backup, err error) {
	var list []store.Backup
	err = k.store.Read(ctx, func(tx *store.Tx) (err error) { list, err = tx.Backups(); return err })
	seen := map[string]bool{}
	for _, b := range list {
		if seen[b.Name] || b.Name != copyName(b.At, b.Encrypted) {
			continue
		}
		seen[b.Name] = true
		info, err := os.Lstat(filepath.Join(k.plan.Dir, b.Name))
		switch {
		case err != nil || !info.Mode().IsRegular():
		case info.Size() == b.Bytes:
			good = append(good, b)
		default:
			odd = append(odd, b)
		}
	}
	return good, odd, err
}

// rotate removes the copies of this file beyond the newest Keep. It is only called after a copy that was
// checked, and never touches the newest one, nor anything that is not on record under its own name.
func (k *Keeper) rotate(ctx context.Context) error {
	good, odd, err := k.standing(ctx)
	if err != nil || len(good) <= k.plan.Keep {
		return err
	}
	last := good[k.plan.Keep-1].At
	remove := good[k.plan.Keep:]
	for _, b := range odd {
		if b.At.Before(last) {
			remove = append(remove, b)
		}
	}
	var errs []error
	for _, b := range remove {
		errs = append(errs, os.Remove(filepath.Join(k.plan.Dir, b.Name)))
	}
	return errors.Join(errs...)
}

// Late says whether the schedule is not kept: it is an error if no copy was made for twice its interval.
// It names no file: a health check may show it.
func (k *Keeper) Late(ctx context.Context) error {
	if k.plan.Dir == "" {
		return nil
	}
	good, _, err := k.standing(ctx)
	if err != nil {
		return err
	}
	since := k.began
	if len(good) > 0 && good[0].At.After(since) {
		since = good[0].At
	}
	if age := k.world.Now().Sub(since); age > lateFactor*k.plan.Every {
		return fmt.Errorf("no backup was made for %v, and one is due every %v", age.Round(time.Minute), k.plan.Every)
	}
	return nil
}
