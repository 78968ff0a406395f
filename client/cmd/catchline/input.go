package main

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// input opens a file to read, or the standard input for -. A byte order mark, with which some spreadsheets begin a file, is left out.
func (a *app) input(path string) (io.ReadCloser, error) {
	in := io.NopCloser(a.in)
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, faultf("%s cannot be read: %v.", path, err)
		}
		in = f
	}
	r := bufio.NewReaderSize(in, 1<<16)
	const mark = "\ufeff"
	if first, _ := r.Peek(len(mark)); string(first) == mark {
		r.Discard(len(mark))
	}
	return &inputFile{r, in}, nil
}

type inputFile struct {
	io.Reader
	io.Closer
}

// text reads the whole of a file, which has to be UTF-8.
func (a *app) text(path string) ([]byte, error) {
	in, err := a.input(path)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	text, err := io.ReadAll(in)
	if err != nil {
		return nil, faultf("%s cannot be read: %v.", path, err)
	}
	line := 1
	for l := range bytes.Lines(text) {
		if !utf8.Valid(l) {
			return nil, faultf("%s, line %d: %.40q is not UTF-8; save the file as UTF-8 text, in a spreadsheet as CSV UTF-8.", path, line, bytes.TrimSpace(l))
		}
		line++
	}
	return text, nil
}

// readJSON reads one message of the contract from a file.
func (a *app) readJSON(path string, m proto.Message) error {
	text, err := a.text(path)
	if err != nil {
		return err
	}
	if err := unmarshal(text, m); err != nil {
		return faultf("%s is not the JSON of a %s: %v.", path, m.ProtoReflect().Descriptor().Name(), err)
	}
	return nil
}

// unmarshal reads JSON of the contract; unknown fields are faults.
func unmarshal(text []byte, m proto.Message) error {
	if len(bytes.TrimSpace(text)) == 0 {
		return errors.New("it is empty")
	}
	if err := protojson.Unmarshal(text, m); err != nil {
		// without the library's name, after which comes a blank of either kind at random
		return errors.New(strings.TrimLeft(strings.TrimPrefix(err.Error(), "proto:"), " \u00a0"))
	}
	return nil
}
