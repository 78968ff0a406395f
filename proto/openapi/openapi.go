// Package openapi holds the OpenAPI description of the HTTP interface, generated from the
// protocol definitions.
package openapi

import _ "embed"

// JSON is the OpenAPI 3.1 document, as served under /openapi.json.
//
//go:embed openapi.json
var JSON []byte
