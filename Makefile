# `make run` serves the demo squad; `make test` checks everything. Both install what they need.
SHELL := /bin/bash
export CGO_ENABLED ?= 0
VERSION ?= $(shell git describe --tags --always --dirty 2>/dev/null || echo development)
CHROMIUM ?= $(shell command -v chromium || echo /usr/bin/chromium)
SUDO = $(shell test "$$(id -u)" = 0 || echo sudo)
GO_FILES = $(shell git ls-files -co --exclude-standard '*.go')

.PHONY: run test build bench lint format vet check unit race e2e fuzz size clean

run: build ## serve the demo squad at a printed address
	./evenhand demo

build: web/node_modules/.installed
	go build -trimpath -ldflags '-s -w -X main.version=$(VERSION)' -o evenhand .

test: format vet lint check unit race e2e ## everything that must pass
	@echo "all checks passed"

format:
	@out=$$(gofmt -l $(GO_FILES)); test -z "$$out" || { echo "not formatted: $$out"; exit 1; }

vet: web/node_modules/.installed
	go vet ./...

lint: bin/golangci-lint web/node_modules/.installed
	bin/golangci-lint run ./...

check: web/node_modules/.installed ## types of the pages' modules
	npm --prefix web run --silent check

unit: web/node_modules/.installed
	go test ./...

race: web/node_modules/.installed
	CGO_ENABLED=1 go test -race ./...

e2e: build $(CHROMIUM)
	EVENHAND_BIN=$(CURDIR)/evenhand CHROMIUM=$(CHROMIUM) npm --prefix web run --silent e2e

bench: web/node_modules/.installed ## timings; nothing here passes or fails
	go test -run '^$$' -bench . -benchmem ./...

fuzz: ## a minute for each kind of input
	go test -run '^$$' -fuzz FuzzLoadProtocol -fuzztime 60s ./internal/screen
	go test -run '^$$' -fuzz FuzzReadJSON -fuzztime 60s ./internal/exchange
	go test -run '^$$' -fuzz FuzzReadCSV -fuzztime 60s ./internal/exchange

web/node_modules/.installed: web/package.json web/package-lock.json
	npm --prefix web ci --no-audit --no-fund
	@touch $@

bin/golangci-lint: tools/go.mod tools/go.sum
	go build -C tools -o ../bin/golangci-lint github.com/golangci/golangci-lint/v2/cmd/golangci-lint

# The browser for the end-to-end tests, from the system's packages.
/usr/bin/chromium:
	$(SUDO) apt-get update
	$(SUDO) apt-get install -y --no-install-recommends chromium fonts-liberation

clean:
	rm -rf evenhand bin web/node_modules
