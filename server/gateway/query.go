package gateway

import (
	"fmt"
	"net/url"
	"strings"
	"sync"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/protobuf/proto"
)

// strictQuery refuses unknown parameters, as the body's reader refuses unknown fields: the default drops a misspelt
// pageSize and answers as if it had not been asked.
type strictQuery struct{ runtime.DefaultQueryParser }

// beStrict makes strictQuery the parser. The library keeps one for the whole program, so it is set once and not for each server of a program.
var beStrict = sync.OnceFunc(func() { runtime.SetQueryParameterParser(&strictQuery{})(nil) })

// Parse implements runtime.QueryParameterParser.
func (q *strictQuery) Parse(m proto.Message, values url.Values, filter *utilities.DoubleArray) error {
	for key := range values {
		d := m.ProtoReflect().Descriptor()
		name, _, _ := strings.Cut(key, "[") // map[key]
		for part := range strings.SplitSeq(name, ".") {
			if d == nil {
				return fmt.Errorf("%s is an unknown field", key)
			}
			fd := d.Fields().ByTextName(part)
			if fd == nil {
				fd = d.Fields().ByJSONName(part)
			}
			if fd == nil {
				return fmt.Errorf("%s is an unknown field", key)
			}
			d = fd.Message()
		}
	}
	return q.DefaultQueryParser.Parse(m, values, filter)
}
