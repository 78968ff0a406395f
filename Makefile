BUF = go tool -modfile=proto/tools/go.mod buf

.PHONY: build run test bench

# Static binaries: the server and the command line.
build:
	CGO_ENABLED=0 go build -o bin/catchline-server ./server
	CGO_ENABLED=0 go build -o bin/catchline ./client/cmd/catchline

# Both programs for every system that they are offered for, linked, so that a function without a body for one processor shows.
PLATFORMS ?= linux/amd64 linux/arm64 darwin/amd64 darwin/arm64 windows/amd64 windows/arm64
.PHONY: cross
cross:
	@set -e; for platform in $(PLATFORMS); do \
		export CGO_ENABLED=0 GOOS=$${platform%/*} GOARCH=$${platform#*/}; \
		exe=$$(go env GOEXE); \
		echo "go build -o bin/$$platform"; \
		go build -o bin/$$platform/catchline-server$$exe ./server; \
		go build -o bin/$$platform/catchline$$exe ./client/cmd/catchline; \
	done

# The service with the demo studio, in a database that stays until somebody deletes it, and a first score. Ctrl-C stops it.
DEMO_DB ?= bin/demo.db
run: build
	@(bin/catchline --wait 20s score --layer tarn-clear:2 --layer skerry-blue:2 --firing cone-6-hold --ware vase --band 80 --clearance 60 && printf '%s\n' '' \
		'That is the demo studio, which is invented; the service goes on until Ctrl-C.' \
		'  pages            http://127.0.0.1:7480' \
		'  command line     bin/catchline --help' \
		'  over HTTP        curl -s http://127.0.0.1:7480/v1/studios/demo/glazes' \
		'  the contract     http://127.0.0.1:7480/openapi.json, proto/catchline/v1' \
		'  its database     $(DEMO_DB)') & \
	exec bin/catchline-server --demo --create --store $(DEMO_DB) --log-level warn --log-format text

# What a change has to pass. Tests that check against programs that are not there are skipped and say so; the race detector
# needs a C compiler.
PACKAGES = ./... ./testdata/demo/... ./testdata/published/...
test:
	go vet $(PACKAGES)
	@if [ "$$(go env CGO_ENABLED)" = 1 ] && command -v "$$(go env CC)" >/dev/null; then \
		echo 'go test -race -timeout 30m $(PACKAGES)'; go test -race -timeout 30m $(PACKAGES); \
	else \
		echo 'no C compiler, so without the race detector'; go test -timeout 30m $(PACKAGES); \
	fi

# All tests of the model on processors other than this one: amd64 without AVX2 and fused multiply-add, and arm64, emulated by
# qemu-user except on arm64 itself. Results are not taken from the cache, since it does not know which processor was asked for.
EMULATE_ARM64 := $(if $(filter arm64,$(shell go env GOHOSTARCH)),,-exec qemu-aarch64)
.PHONY: portable
portable:
	GODEBUG=cpu.avx2=off,cpu.fma=off go test -count=1 -timeout 30m ./model/...
	GOOS=linux GOARCH=arm64 CGO_ENABLED=0 go test -count=1 -timeout 30m $(EMULATE_ARM64) ./model/...

# Ours against floors of the same run, with ratios, in less than ten minutes on a machine that is not busy with other things. The text
# for benchstat is kept, a file a run; BENCH_OUT names another.
ifndef BENCH_OUT
BENCH_OUT := bin/bench/$(shell date -u +%Y%m%dT%H%M%SZ).txt
endif
export BENCH_OUT
.PHONY: bench-model bench-server
bench: bench-model bench-server
	@echo 'for benchstat: $(BENCH_OUT); how the cost of a score grows: $(basename $(BENCH_OUT)).svg'

# The model.
bench-model:
	@mkdir -p $(dir $(BENCH_OUT))
	go run ./model/bench -plot $(basename $(BENCH_OUT)).svg
	go test -run '^$$' -bench 'Solve|Add$$' ./model/calib | grep -v '^ok' | tee -a $(BENCH_OUT)

# The server: one iteration is one turn of the floor and one of ours.
bench-server:
	@mkdir -p $(dir $(BENCH_OUT))
	@{ go test -run '^$$' -bench . -benchtime $(or $(TURNS),7)x ./server/bench; \
		go test -run '^$$' -bench 'SQLite16/tile$$' ./server/store/sqlite; \
		go test -run '^$$' -bench 'PostgreSQL16$$' ./server/store/postgres; \
		go test -run '^$$' -bench . -benchtime 3x ./client/cmd/catchline; } | go run ./server/bench/table -o $(BENCH_OUT)

.PHONY: generate lint

# Go, gRPC, gateway and OpenAPI code from the protocol definitions, with the plugins that go.mod pins; the assembly of the vector kernels.
generate:
	go generate ./model/internal/vector
	$(BUF) generate --template proto/buf.gen.yaml
	go run ./proto/openapi/merge
	rm -rf proto/openapi/parts

lint:
	$(BUF) lint

# What changed in the protocol must not break a program that was built on it.
AGAINST ?= .git\#ref=HEAD~1
.PHONY: breaking
breaking:
	$(BUF) breaking --against '$(AGAINST)'

STATICCHECK = go tool -modfile=proto/tools/go.mod staticcheck
.PHONY: check
check:
	test -z "$$(gofmt -l $$(git ls-files '*.go'))" || { gofmt -l $$(git ls-files '*.go'); exit 1; }
	go vet $(PACKAGES)
	$(STATICCHECK) $(PACKAGES)

# Every fuzz target for FUZZTIME each. When that is over while inputs are still with the workers, go test may call the end of its own
# time a failure, "context deadline exceeded" and no failing input; that is none.
FUZZTIME ?= 5s
.PHONY: fuzz
fuzz:
	@set -e; said=$$(mktemp); trap 'rm -f "$$said"' EXIT; for package in $$(go list ./...); do \
		for target in $$(go test -list '^Fuzz' $$package | grep '^Fuzz' || true); do \
			echo "$$package $$target"; \
			if go test -run '^$$' -fuzz "^$$target$$" -fuzztime $(FUZZTIME) $$package >"$$said" 2>&1; then tail -n 2 "$$said"; continue; fi; \
			cat "$$said"; \
			if grep -q 'Failing input' "$$said" || ! grep -q '^ *context deadline exceeded$$' "$$said"; then exit 1; fi; \
		done; \
	done

# The pages: types from the OpenAPI description, checks, unit tests, and the built files that are committed and embedded.
.PHONY: web
web:
	cd server/web/ui && npm ci && npm test && npm run build

# Pictures of every page for looking through, and the few of the README.
.PHONY: screenshots
screenshots:
	go test ./server/web/e2e -count=1 -run TestScreenshots -screenshots $(CURDIR)/screenshots -pictures $(CURDIR)/server/web/screenshots

# Clients that others made, against the server: gRPC health probe, grpcurl, gRPC for Node, TypeScript types from the OpenAPI description.
.PHONY: interop
interop:
	CATCHLINE_INTEROP=1 go test -count=1 ./server/interop

# The server at half, once, twice and four times what it can do. Where there are two processors or more, the server has the first and
# who asks has the second.
.PHONY: load
load:
	go build -o bin/catchline-server ./server
	go build -o bin/load ./server/load
	if command -v taskset >/dev/null && [ "$$(nproc)" -ge 2 ]; then taskset -c 1 bin/load -pin 0; else bin/load; fi

# Kill the server's process so many times while tiles are logged.
KILLS ?= 250
.PHONY: kill
kill:
	CATCHLINE_KILLS=$(KILLS) go test -count=1 -timeout 30m -v ./server/killtest
