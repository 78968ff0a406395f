BUF = go tool -modfile=proto/tools/go.mod buf

.PHONY: generate lint

# Go, gRPC, gateway and OpenAPI code from the protocol definitions, with the plugins that go.mod pins.
generate:
	$(BUF) generate --template proto/buf.gen.yaml
	go run ./proto/openapi/merge
	rm -rf proto/openapi/parts

lint:
	$(BUF) lint
