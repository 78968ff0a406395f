package config

import (
	"log/slog"
	"net/url"
	"strings"
)

const redacted = "[redacted]"

// Secret is text that no log, error or encoder shows. Reveal is the one way to it.
type Secret struct{ text string }

// NewSecret returns the secret with this text.
func NewSecret(text string) Secret { return Secret{text} }

// Reveal returns the text.
func (s Secret) Reveal() string { return s.text }

// IsSet reports whether there is a text.
func (s Secret) IsSet() bool { return s.text != "" }

// String says only whether there is one.
func (s Secret) String() string {
	if s.text == "" {
		return ""
	}
	return redacted
}

// GoString keeps %#v from showing it.
func (s Secret) GoString() string { return s.String() }

// LogValue keeps it out of logs.
func (s Secret) LogValue() slog.Value { return slog.StringValue(s.String()) }

// MarshalText keeps it out of JSON and TOML.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText takes the text.
func (s *Secret) UnmarshalText(b []byte) error {
	s.text = string(b)
	return nil
}

// Database says where the records are: the path of a SQLite file, or a PostgreSQL URL. Its text in logs has no password.
type Database string

// PostgreSQL reports whether it is a URL of a PostgreSQL server.
func (d Database) PostgreSQL() bool {
	return strings.HasPrefix(string(d), "postgres://") || strings.HasPrefix(string(d), "postgresql://")
}

// String leaves the password out.
func (d Database) String() string {
	if !d.PostgreSQL() {
		return string(d)
	}
	u, err := url.Parse(string(d))
	if err != nil {
		return redacted
	}
	q := u.Query()
	if q.Has("password") {
		q.Set("password", redacted)
		u.RawQuery = q.Encode()
	}
	return u.Redacted()
}

// GoString keeps %#v from showing the password.
func (d Database) GoString() string { return d.String() }

// LogValue keeps the password out of logs.
func (d Database) LogValue() slog.Value { return slog.StringValue(d.String()) }

// MarshalText keeps the password out of JSON and TOML.
func (d Database) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText takes the text.
func (d *Database) UnmarshalText(b []byte) error {
	*d = Database(b)
	return nil
}
