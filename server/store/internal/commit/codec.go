package commit

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"time"

	"github.com/catchline/catchline/server/store"
)

// A record is stored as one blob, since reading one column a row is four times as fast as reading ten.
// The columns beside it are only those that an index needs. Layout, after a version byte: Sequence,
// Revision, CreateTime and UpdateTime as varints (times in microseconds since 1970), the body after its
// length, the length of what follows, Parent, ID, the number of labels, the labels, each text after its
// length. The texts are together so that they can share one string. At the end the checksum, 4 bytes, lowest
// first: CRC-32C (RFC 3720, appendix B.4) of the studio, a zero byte, the kind, a zero byte and all that comes before.
//
// Version 1 had no checksum. The third migration gives one to what it finds; a server of before that may still
// have written some beside it, so the old version is read too.

const (
	recordVersion   = 2
	unsummedVersion = 1
	sumBytes        = 4
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

var (
	errCode = errors.New("its stored form cannot be read")
	errSum  = errors.New("its checksum differs")
)

// checksum covers the studio and the kind too, which stand beside the stored form b.
func checksum(studio string, kind store.Kind, b []byte) uint32 {
	var room [128]byte
	head := append(append(append(append(room[:0], studio...), 0), kind...), 0)
	return crc32.Update(crc32.Checksum(head, castagnoli), castagnoli, b)
}

// AppendRecord appends the stored form of the record, which leaves out its studio and kind.
func AppendRecord(b []byte, r *store.Record) []byte {
	start := len(b)
	b = append(b, recordVersion)
	b = binary.AppendVarint(b, r.Sequence)
	b = binary.AppendVarint(b, r.Revision)
	b = binary.AppendVarint(b, r.CreateTime.UnixMicro())
	b = binary.AppendVarint(b, r.UpdateTime.UnixMicro())
	b = binary.AppendUvarint(b, uint64(len(r.Body)))
	b = append(b, r.Body...)
	texts := appendText(make([]byte, 0, 128), r.Parent)
	texts = appendText(texts, r.ID)
	texts = binary.AppendUvarint(texts, uint64(len(r.Labels)))
	for _, l := range r.Labels {
		texts = appendText(texts, l)
	}
	b = binary.AppendUvarint(b, uint64(len(texts)))
	b = append(b, texts...)
	return binary.LittleEndian.AppendUint32(b, checksum(r.Studio, r.Kind, b[start:]))
}

// DecodeRecord reads what AppendRecord wrote. The record shares nothing with b. What cannot be read, or is not what was written, is
// an error that matches store.ErrDamaged.
func DecodeRecord(studio string, kind store.Kind, b []byte) (store.Record, error) {
	d := decoder{b: b}
	r := d.record(studio, kind)
	if err := d.fault(); err != nil {
		return store.Record{}, err
	}
	return r, nil
}

// AddChecksum gives the stored form of a record of version 1 a checksum. Any other comes back as it is, also one that cannot be read.
func AddChecksum(studio string, kind store.Kind, b []byte) []byte {
	if len(b) == 0 || b[0] != unsummedVersion {
		return b
	}
	if _, err := DecodeRecord(studio, kind, b); err != nil {
		return b
	}
	b = append([]byte{recordVersion}, b[1:]...)
	return binary.LittleEndian.AppendUint32(b, checksum(studio, kind, b))
}

// kindRequest is how the copy of an answer is called where it is damaged.
const kindRequest store.Kind = "request"

// PutOn puts the row on a page, or names it there as damaged.
func (r *Row) PutOn(page *store.Page) {
	if r.Damaged != nil {
		r.Damaged.After = len(page.Records)
		page.Damaged = append(page.Damaged, r.Damaged)
	} else {
		page.Records = append(page.Records, r.Record)
	}
	page.Last = r.Cursor()
}

// AppendAnswer appends the stored form of the answer to a write.
func AppendAnswer(b []byte, records []store.Record) []byte {
	b = binary.AppendUvarint(b, uint64(len(records)))
	for i := range records {
		b = appendText(b, string(records[i].Kind))
		b = AppendRecord(b, &records[i])
	}
	return b
}

// DecodeAnswer reads what AppendAnswer wrote.
func DecodeAnswer(studio string, b []byte) ([]store.Record, error) {
	d := decoder{b: b}
	n := d.uvarint()
	var records []store.Record
	for i := uint64(0); i < n && !d.bad; i++ {
		kind := store.Kind(d.text())
		records = append(records, d.record(studio, kind))
	}
	if err := d.fault(); err != nil {
		return nil, err
	}
	return records, nil
}

// AddChecksums gives the records of a stored answer their checksums, as AddChecksum does.
func AddChecksums(studio string, b []byte) []byte {
	records, err := DecodeAnswer(studio, b)
	if err != nil {
		return b
	}
	return AppendAnswer(nil, records)
}

// Read reads the record of a key. One that is damaged, or another's, is a *store.Damaged.
func Read(key store.Key, data []byte) (store.Record, error) {
	r, damaged := read(key, data)
	if damaged != nil {
		return r, damaged
	}
	return r, nil
}

func read(key store.Key, data []byte) (store.Record, *store.Damaged) {
	r, err := DecodeRecord(key.Studio, key.Kind, data)
	if err == nil && r.Key != key {
		err = fmt.Errorf("%w: it is that of %s", store.ErrDamaged, r.Key)
	}
	if err != nil {
		return store.Record{}, &store.Damaged{Key: key, Cause: err}
	}
	return r, nil
}

// AppendDamaged appends the record of a key if it is damaged.
func AppendDamaged(all store.DamagedRecords, key store.Key, data []byte) store.DamagedRecords {
	if _, damaged := read(key, data); damaged != nil {
		all = append(all, damaged)
	}
	return all
}

// Named is the error of a scan that has left out so many damaged records, of which these were found in a second look.
func Named(all store.DamagedRecords, left int, err error) error {
	switch {
	case err != nil:
		return err
	case len(all) < left:
		return fmt.Errorf("damaged records: %w", store.ErrConflict)
	}
	return all
}

// ReadRow reads a row of the table of records. Of one that is damaged it gives what the columns say.
func ReadRow(key store.Key, sequence int64, data []byte, request store.Request) *Row {
	r, damaged := read(key, data)
	if damaged != nil {
		return &Row{Record: store.Record{Key: key, Sequence: sequence}, Request: request, Damaged: damaged}
	}
	return &Row{Record: r, Request: request}
}

// ReadSaved reads the copy of an answer that AppendAnswer wrote.
func ReadSaved(key RequestKey, hash, answer []byte, at time.Time) *Saved {
	records, err := DecodeAnswer(key.Studio, answer)
	saved := &Saved{Hash: hash, Records: records, Time: at}
	if err != nil {
		saved.Damaged = &store.Damaged{Key: store.Key{Studio: key.Studio, Kind: kindRequest, ID: key.ID}, Cause: err}
	}
	return saved
}

func appendText(b []byte, s string) []byte {
	b = binary.AppendUvarint(b, uint64(len(s)))
	return append(b, s...)
}

// decoder eats its bytes from the front. After the first fault everything it returns is empty.
type decoder struct {
	b     []byte
	texts string // if not empty, what b was at first, for text to share
	bad   bool
	wrong bool // a checksum differs
}

// fault is what was wrong with all that was decoded, or that something is left.
func (d *decoder) fault() error {
	switch {
	case d.bad || len(d.b) != 0:
		return fmt.Errorf("%w: %w", store.ErrDamaged, errCode)
	case d.wrong:
		return fmt.Errorf("%w: %w", store.ErrDamaged, errSum)
	}
	return nil
}

func (d *decoder) record(studio string, kind store.Kind) store.Record {
	whole := d.b
	if len(whole) == 0 || whole[0] != recordVersion && whole[0] != unsummedVersion {
		d.bad = true
		return store.Record{}
	}
	d.b = d.b[1:]
	r := store.Record{
		Sequence:   d.varint(),
		Revision:   d.varint(),
		CreateTime: time.UnixMicro(d.varint()).UTC(),
		UpdateTime: time.UnixMicro(d.varint()).UTC(),
	}
	r.Body = bytes.Clone(d.bytes())
	t := decoder{b: d.bytes()}
	t.texts = string(t.b)
	r.Key = store.Key{Studio: studio, Kind: kind, Parent: t.text(), ID: t.text()}
	if n := t.uvarint(); n > 0 && n <= store.MaxLabels {
		r.Labels = make([]string, n)
		for i := range r.Labels {
			r.Labels[i] = t.text()
		}
	} else if n > 0 {
		d.bad = true
	}
	d.bad = d.bad || t.bad || len(t.b) != 0
	if whole[0] == recordVersion && !d.bad {
		d.checkSum(studio, kind, whole)
	}
	return r
}

// checkSum reads the checksum at the end of a record, and compares it with that of the bytes before.
func (d *decoder) checkSum(studio string, kind store.Kind, whole []byte) {
	if len(d.b) < sumBytes {
		d.bad = true
		return
	}
	summed := whole[:len(whole)-len(d.b)]
	if binary.LittleEndian.Uint32(d.b) != checksum(studio, kind, summed) {
		d.wrong = true
	}
	d.b = d.b[sumBytes:]
}

func (d *decoder) varint() int64 {
	v, n := binary.Varint(d.b)
	if n <= 0 {
		d.bad, d.b = true, nil
		return 0
	}
	d.b = d.b[n:]
	return v
}

func (d *decoder) uvarint() uint64 {
	v, n := binary.Uvarint(d.b)
	if n <= 0 {
		d.bad, d.b = true, nil
		return 0
	}
	d.b = d.b[n:]
	return v
}

func (d *decoder) bytes() []byte {
	n := d.uvarint()
	if n > uint64(len(d.b)) {
		d.bad, d.b = true, nil
		return nil
	}
	v := d.b[:n:n]
	d.b = d.b[n:]
	return v
}

func (d *decoder) text() string {
	v := d.bytes()
	if d.texts == "" {
		return string(v)
	}
	end := len(d.texts) - len(d.b)
	return d.texts[end-len(v) : end]
}
