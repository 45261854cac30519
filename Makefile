# `make run` serves the demo squad; `make test` checks everything. Both install what they need.
SHELL := /bin/bash
export CGO_ENABLED ?= 0
VERSION ?= $(shell git describe --tags --always --dirty 2>/dev/null || echo development)
CHROMIUM ?= $(shell command -v chromium || echo /usr/bin/chromium)
SUDO = $(shell test "$$(id -u)" = 0 || echo sudo)
GO_FILES = $(shell git ls-files -co --exclude-standard '*.go')

# What the program embeds of the pages, besides what is in the repository.
WEB = web/node_modules/.installed web/static/built/station.js

.PHONY: run test build bench proof roles lint format vet check unit race e2e day crash fuzz size clean

run: build ## serve the demo squad at a printed address
	./evenhand demo

build: $(WEB)
	go build -trimpath -ldflags '-s -w -X main.version=$(VERSION)' -o evenhand .

test: format vet lint check unit race e2e day ## everything that must pass
	@echo "all checks passed"

format:
	@out=$$(gofmt -l $(GO_FILES)); test -z "$$out" || { echo "not formatted: $$out"; exit 1; }

vet: $(WEB)
	go vet ./...

lint: bin/golangci-lint $(WEB)
	bin/golangci-lint run ./...

check: web/node_modules/.installed ## types of the pages' modules
	npm --prefix web run --silent check

unit: $(WEB)
	go test ./...
	npm --prefix web run --silent unit

race: $(WEB)
	CGO_ENABLED=1 go test -race ./...

e2e: build $(CHROMIUM)
	EVENHAND_BIN=$(CURDIR)/evenhand CHROMIUM=$(CHROMIUM) npm --prefix web run --silent e2e

day: build $(CHROMIUM) ## a whole screening day of sixty athletes in the browser
	EVENHAND_BIN=$(CURDIR)/evenhand CHROMIUM=$(CHROMIUM) npm --prefix web run --silent day

bench: build $(CHROMIUM) ## timings; nothing here passes or fails
	go test -run '^$$' -bench . -benchmem ./...
	EVENHAND_BIN=$(CURDIR)/evenhand CHROMIUM=$(CHROMIUM) npm --prefix web run --silent bench

roles: ## docs/roles.md, from the rules and the routes
	go test -count=1 -run TestRolesDoc . -update

proof: ## what the scoring says against what is true, by simulation; minutes
	go run ./cmd/proof

crash: ## kills a process that writes a thousand times, and looks what is left; minutes
	go test -run '^TestCrash$$' -v ./internal/store -timeout 60m -crash 1000

fuzz: ## a minute for each kind of input
	go test -run '^$$' -fuzz FuzzLoadProtocol -fuzztime 60s ./internal/screen
	go test -run '^$$' -fuzz FuzzReadJSON -fuzztime 60s ./internal/exchange
	go test -run '^$$' -fuzz FuzzReadCSV -fuzztime 60s ./internal/exchange
	go test -run '^$$' -fuzz FuzzReadRetest -fuzztime 60s ./internal/exchange
	go test -run '^$$' -fuzz FuzzReadRosterFile -fuzztime 60s -fuzzminimizetime 1x ./internal/exchange
	go test -run '^$$' -fuzz FuzzSheet -fuzztime 60s -fuzzminimizetime 1x ./internal/exchange

web/static/built/station.js: web/node_modules/.installed $(wildcard web/static/station/*.js)
	npm --prefix web run --silent build

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
	rm -rf evenhand bin web/node_modules web/static/built
