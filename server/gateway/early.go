package gateway

import (
	"net/http"
	"sync/atomic"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// refuseEarly asks by the head of a request whether its call would be turned away, and if so answers before the body is read: a flood of large
// bodies then costs little. What is left of a body is dropped, or the connection closed, as net/http does it. Refuse is asked with the full name
// of a unary method.
func refuseEarly(refuse func(method string) error, form runtime.Marshaler) runtime.Middleware {
	methods := unaryMethods()
	return func(next runtime.HandlerFunc) runtime.HandlerFunc {
		var method atomic.Pointer[string] // of this handler, which belongs to one pattern; found with its first request
		return func(w http.ResponseWriter, r *http.Request, params map[string]string) {
			m := method.Load()
			if m == nil {
				pattern, _ := runtime.HTTPPattern(r.Context())
				name := methods[r.Method+" "+pattern.String()]
				m = &name
				method.Store(m)
			}
			if *m != "" {
				if err := refuse(*m); err != nil {
					answerError(r.Context(), nil, form, w, r, err)
					return
				}
			}
			next(w, r, params)
		}
	}
}

// unaryMethods are the full names of the contract's unary methods, by verb and pattern.
func unaryMethods() map[string]string {
	all := map[string]string{}
	protoregistry.GlobalFiles.RangeFilesByPackage(contract, func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for k := range service.Methods().Len() {
				m := service.Methods().Get(k)
				rule, ok := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
				if !ok || m.IsStreamingServer() || m.IsStreamingClient() {
					continue
				}
				name := "/" + string(service.FullName()) + "/" + string(m.Name())
				switch p := rule.GetPattern().(type) {
				case *annotations.HttpRule_Get:
					all["GET "+p.Get] = name
				case *annotations.HttpRule_Post:
					all["POST "+p.Post] = name
				case *annotations.HttpRule_Patch:
					all["PATCH "+p.Patch] = name
				case *annotations.HttpRule_Delete:
					all["DELETE "+p.Delete] = name
				}
			}
		}
		return true
	})
	return all
}
