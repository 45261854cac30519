//go:build !linux

package store

import "testing"

func smallDisk(*testing.T, int) (dir string, ok bool) { return "", false }
