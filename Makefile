# Everything a contributor or CI runs. `make` alone lists the targets.

GO      ?= go
# One flavour of object files for everything but the race detector (which needs a C compiler): tests, static builds, linter and
# lab share what is compiled once.
export CGO_ENABLED := 0
export GOFLAGS := $(strip $(filter-out -trimpath,$(GOFLAGS)) -trimpath)
VERSION := $(shell git describe --always --dirty 2>/dev/null || echo unknown)
FUZZTIME ?= 20s
BENCHTIME ?= 1s
# The packages whose code or tests run goroutines (TestRaced holds this list against the source), and of the command line's
# tests those in which goroutines work beside each other: a race does not care which fault or which seed is run.
RACED := ./bench/journal ./bench/record ./bench/watch/live ./cmd/holdfast/campaign ./cmd/holdfast/console ./cmd/holdfast/torture \
	./j1939/can/capture ./j1939/can/lockstep ./j1939/can/socketcan ./j1939/can/unixbus ./j1939/trace ./sim/other
RACED_COMMANDS := ^Test(Kills_OwnUnit|RecordPlay|RunAsk_Unattended|UnixBus|WatchLive_(Alarm|Attach)|Watch_ManyAtOnce|WaysOut$$|WayOut)

.PHONY: help build quick test race test-can test-can-long bench check fuzz cross demo evidence stale campaign campaign-controller torture \
	test-store test-kernel kills coverage causes long

help: ## list the targets
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/' | expand -t 12

build: ## the static binary, bin/holdfast
	$(GO) build -ldflags '-s -w -X main.version=$(VERSION)' -o bin/holdfast ./cmd/holdfast

quick: ## what a change usually breaks, in a minute: no test that takes seconds
	$(GO) run ./cmd/gate test -short ./...

test: build ## unit, property and golden tests; no root, no CAN hardware
	HOLDFAST_BIN=$(CURDIR)/bin/holdfast $(GO) run ./cmd/gate test -timeout 30m ./...

race: ## the race detector, on what runs goroutines; needs a C compiler
	CGO_ENABLED=1 $(GO) test -race -short -timeout 30m $(RACED)
	CGO_ENABLED=1 $(GO) test -race -timeout 30m -run '$(RACED_COMMANDS)' ./cmd/holdfast

test-can: ## the SocketCAN suite on an emulated computer with two CAN controllers
	.ci/test-can -i

test-can-long: ## the same of the command line with the full release test, by a clock that leaps when it is idle
	HOLDFAST_LONG=1 .ci/test-can -l ./cmd/holdfast

bench: ## benchmarks, with allocations; compare two runs with benchstat
	$(GO) test -run '^$$' -bench . -benchmem -benchtime $(BENCHTIME) \
	  $$(git grep -l '^func Benchmark' -- '*_test.go' | xargs -n1 dirname | sort -u | sed 's,^,./,')

check: ## format, vet, linter, import law, static builds, clean tree
	@test -z "$$(gofmt -l $$(git ls-files '*.go'))" || { echo "gofmt would change:"; gofmt -l $$(git ls-files '*.go'); exit 1; }
	$(GO) vet ./...
	$(GO) vet -tags lab ./...
	$(GO) tool staticcheck ./...
	$(GO) test -run 'TestImportLaw|TestHouseRules' ./cmd/holdfast
	$(GO) mod tidy -diff
	$(MAKE) --no-print-directory cross
	@test -z "$$(git status --porcelain)" || { echo "the tree is not clean:"; git status --short; exit 1; }

cross: ## static builds for the machines that benches use
	GOOS=linux GOARCH=amd64 $(GO) build -o /dev/null ./cmd/holdfast
	GOOS=linux GOARCH=arm64 $(GO) build -o /dev/null ./cmd/holdfast

campaign: ## 2 000 simulated units with known truth: wrong passes, causes, coverage
	$(GO) run ./cmd/holdfast campaign release --rig bench-node --units 2000 --out out/campaign

campaign-controller: ## the same for a unit with its own controller
	$(GO) run ./cmd/holdfast campaign release-controller --rig unit-controller --units 2000 --out out/campaign-controller

torture: ## 10 000 seeds of everything that can go wrong around a run
	$(GO) run ./cmd/holdfast torture --seeds 10000

demo: ## a few days in a shop, on the simulated bench: out/demo/index.html
	rm -rf out/demo && $(GO) run ./cmd/holdfast demo --to out/demo

evidence: ## the tables of testdata/evidence anew, each at this commit; TABLES="name name" for some
	$(GO) run ./cmd/gate evidence make $(TABLES)

stale: ## which tables of evidence are older than what they speak of, or miss their bar
	@$(GO) run ./cmd/gate evidence

test-kernel: ## the kernel's own J1939 stack: 5 000 transfers each way, clean and damaged, about 4 minutes
	HOLDFAST_TRANSFERS=5000 .ci/test-can -i ./j1939/node

kills: ## 1 000 runs killed beside a bench process: every record read, every bench seen safe
	HOLDFAST_KILLS=1000 $(GO) test -run 'TestKills$$' -v -timeout 40m ./cmd/holdfast

coverage: ## do the stated intervals cover the truth? 2 000 simulated units
	HOLDFAST_UNITS=2000 $(GO) test ./cmd/holdfast -run TestCoverage_ -v -timeout 30m

causes: ## are causes named right, never mixed up, and as often right as stated? 1 000 of each
	HOLDFAST_UNITS=1000 $(GO) test ./cmd/holdfast -run 'TestCauses_|TestMixups_|TestStated_|TestWrongFluid_' -v -timeout 120m

long: ## a day of traffic in flat memory, a ten-hour day with every frame
	HOLDFAST_LONG=1 $(GO) test -run 'TestWatch_(MemoryStaysFlat|TenHourDay)' -v -timeout 60m ./cmd/holdfast

test-store: ## 100 000 runs answer within 100 ms
	HOLDFAST_RUNS=100000 $(GO) test ./bench/record -run LargeStaysFast -v

fuzz: ## every fuzz target for FUZZTIME each
	@for p in $$($(GO) list ./...); do \
	  for f in $$($(GO) test -list '^Fuzz' $$p | grep '^Fuzz'); do \
	    echo "$$p $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 1x $$p || exit 1; \
	  done; done
