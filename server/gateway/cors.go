package gateway

import (
	"net/http"

	"github.com/rs/cors"
)

// allowOrigins lets pages of these origins use the services from a browser (CORS), with a key that they send themselves. Cookies and other
// credentials that a browser adds on its own are not allowed with it: there are none, and so nothing that a page could use without knowing it.
func allowOrigins(origins []string, next http.Handler) http.Handler {
	if len(origins) == 0 {
		return next
	}
	return cors.New(cors.Options{
		AllowedOrigins: origins,
		AllowedMethods: []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPatch, http.MethodDelete},
		AllowedHeaders: []string{"Authorization", "Content-Type", "Grpc-Timeout", "Traceparent", "Tracestate", "X-Request-Id"},
		ExposedHeaders: []string{"Retry-After", "X-Request-Id"},
		MaxAge:         600, // seconds
	}).Handler(next)
}
