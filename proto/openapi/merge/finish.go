package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	_ "github.com/catchline/catchline/proto/catchline/v1" // registers the services, which say what streams
)

// finish adds what the generator does not know: where the server is, how a key is sent, what a stream is made of, and
// one name for each part of a path.
func (d *document) finish() error {
	d.Servers = []map[string]any{{"url": "/", "description": "The server that serves this document."}}
	// A server on loopback may run without keys, so that a key is one of two ways.
	d.Security = []map[string][]string{{"key": {}}, {}}
	d.Components["securitySchemes"] = map[string]json.RawMessage{
		"key": json.RawMessage(`{"type": "http", "scheme": "bearer", "description": "A key of a studio or of the operator."}`),
	}
	paths := map[string]map[string]map[string]any{}
	for path, methods := range d.Paths {
		path, ids := nameParameters(path)
		for _, operation := range methods {
			if err := renameParameters(operation, ids); err != nil {
				return fmt.Errorf("%s: %w", path, err)
			}
			if err := declareStream(operation); err != nil {
				return fmt.Errorf("%s: %w", path, err)
			}
		}
		if paths[path] == nil {
			paths[path] = map[string]map[string]any{}
		}
		maps.Copy(paths[path], methods)
	}
	d.Paths = paths
	return nil
}

// nameParameters names each parameter of a path by the collection before it. The generator names them by the field that
// they come from, so that reading and updating one glaze became two paths that no client can tell apart:
// /v1/studios/{glaze.name}/glazes/{glaze.name_1} and /v1/studios/{name}/glazes/{name_1} are /v1/studios/{studio}/glazes/{glaze}.
func nameParameters(path string) (named string, ids map[string]string) {
	ids = map[string]string{}
	parts := strings.Split(path, "/")
	for i, part := range parts {
		inside, rest, found := strings.Cut(part, "}")
		if !found {
			continue
		}
		id := singular(parts[i-1])
		ids[strings.TrimPrefix(inside, "{")] = id
		parts[i] = "{" + id + "}" + rest
	}
	return strings.Join(parts, "/"), ids
}

// singular is the name of one member of a collection of the contract.
func singular(collection string) string {
	if one, is := strings.CutSuffix(collection, "ies"); is {
		return one + "y"
	}
	return strings.TrimSuffix(collection, "s")
}

// renameParameters gives an operation's path parameters their new names.
func renameParameters(operation map[string]any, ids map[string]string) error {
	parameters, _ := operation["parameters"].([]any)
	for _, of := range parameters {
		parameter := of.(map[string]any)
		if parameter["in"] != "path" {
			continue
		}
		id, known := ids[parameter["name"].(string)]
		if !known {
			return fmt.Errorf("parameter %v is not in the path", parameter["name"])
		}
		parameter["name"] = id
		parameter["description"] = fmt.Sprintf("The %s's id, without the names of the collections.", id)
	}
	return nil
}

// declareStream says that a stream is one JSON object a line. The generator declares it as a single object, which a
// generated client then expects to be the whole body.
func declareStream(operation map[string]any) error {
	id, _ := operation["operationId"].(string)
	service, method, _ := strings.Cut(id, "_")
	found, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName("catchline.v1." + service))
	if err != nil {
		return fmt.Errorf("operation %q: %w", id, err)
	}
	described := found.(protoreflect.ServiceDescriptor).Methods().ByName(protoreflect.Name(method))
	if described == nil {
		return fmt.Errorf("operation %q: there is no such method", id)
	}
	if !described.IsStreamingServer() {
		return nil
	}
	content := operation["responses"].(map[string]any)["200"].(map[string]any)["content"].(map[string]any)
	content["application/x-ndjson"] = content["application/json"]
	delete(content, "application/json")
	return nil
}
