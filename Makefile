BUF = go tool -modfile=proto/tools/go.mod buf

.PHONY: generate lint

# Go, gRPC, gateway and OpenAPI code from the protocol definitions, with the plugins that go.mod pins.
generate:
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
	go vet ./... ./testdata/...
	$(STATICCHECK) ./... ./testdata/...

# Every fuzz target for FUZZTIME each.
FUZZTIME ?= 5s
.PHONY: fuzz
fuzz:
	@set -e; for package in $$(go list ./...); do \
		for target in $$(go test -list '^Fuzz' $$package | grep '^Fuzz' || true); do \
			echo "$$package $$target"; \
			go test -run '^$$' -fuzz "^$$target$$" -fuzztime $(FUZZTIME) $$package; \
		done; \
	done

# The pages: types from the OpenAPI description, checks, unit tests, and the built files that are committed and embedded.
.PHONY: web
web:
	cd server/web/ui && npm ci && npm test && npm run build
