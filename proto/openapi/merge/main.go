// Command merge joins the OpenAPI documents that the generator writes, one a protocol file,
// into the one that is served, and adds what the generator does not know (see finish.go).
package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
)

// document is as much of an OpenAPI document as merging needs.
type document struct {
	OpenAPI    string                                `json:"openapi"`
	Info       map[string]any                        `json:"info"`
	Servers    []map[string]any                      `json:"servers"`
	Security   []map[string][]string                 `json:"security"`
	Paths      map[string]map[string]map[string]any  `json:"paths"` // by path and HTTP method
	Components map[string]map[string]json.RawMessage `json:"components"`
	Tags       []map[string]any                      `json:"tags,omitempty"`
}

func main() {
	parts := flag.String("parts", "proto/openapi/parts", "folder with the documents to join")
	out := flag.String("out", "proto/openapi/openapi.json", "file to write")
	flag.Parse()
	if err := merge(*parts, *out); err != nil {
		fmt.Fprintln(os.Stderr, "merge:", err)
		os.Exit(1)
	}
}

func merge(parts, out string) error {
	files, err := filepath.Glob(filepath.Join(parts, "catchline", "v1", "*.json"))
	if err != nil {
		return err
	}
	if len(files) == 0 {
		return fmt.Errorf("no documents under %s: run the generation first", parts)
	}
	slices.Sort(files)
	whole := document{
		Info:       map[string]any{"title": "catchline", "version": "v1", "description": "How far one glaze over another will run."},
		Paths:      map[string]map[string]map[string]any{},
		Components: map[string]map[string]json.RawMessage{},
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		var part document
		if err := json.Unmarshal(text, &part); err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		whole.OpenAPI = part.OpenAPI
		whole.Tags = append(whole.Tags, part.Tags...)
		for path, methods := range part.Paths {
			if whole.Paths[path] == nil {
				whole.Paths[path] = map[string]map[string]any{}
			}
			maps.Copy(whole.Paths[path], methods)
		}
		for kind, named := range part.Components {
			if whole.Components[kind] == nil {
				whole.Components[kind] = map[string]json.RawMessage{}
			}
			maps.Copy(whole.Components[kind], named)
		}
	}
	if err := whole.finish(); err != nil {
		return err
	}
	text, err := json.MarshalIndent(whole, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(out, append(text, '\n'), 0o644)
}
