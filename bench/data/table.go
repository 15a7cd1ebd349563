package data

import (
	"encoding/csv"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"
)

// Format is a form of file.
type Format string

const (
	Parquet Format = "parquet"
	CSV     Format = "csv"
)

// FormatNamed returns the format of a name.
func FormatNamed(name string) (Format, error) {
	switch f := Format(strings.ToLower(name)); f {
	case Parquet, CSV:
		return f, nil
	}
	return "", fmt.Errorf("no format is called %q; there are parquet and csv", name)
}

// Table is a file of rows being written. Close ends it; without it a Parquet file cannot be read.
type Table[T any] interface {
	Write(rows []T) error
	Close() error
}

// rowsPerGroup bounds what a Parquet writer holds in memory.
const rowsPerGroup = 256 << 10

// NewTable begins a file of rows of T: Sample, Result, Signal, Trip or TripFinding.
func NewTable[T any](w io.Writer, f Format) (Table[T], error) {
	if f == CSV {
		return newCSV[T](w)
	}
	return &parquetTable[T]{parquet.NewGenericWriter[T](w, parquet.Compression(&parquet.Snappy),
		parquet.MaxRowsPerRowGroup(rowsPerGroup), parquet.CreatedBy("holdfast", "", ""))}, nil
}

type parquetTable[T any] struct{ w *parquet.GenericWriter[T] }

func (t *parquetTable[T]) Write(rows []T) error {
	if _, err := t.w.Write(rows); err != nil {
		return fmt.Errorf("write Parquet: %w", err)
	}
	return nil
}

func (t *parquetTable[T]) Close() error {
	if err := t.w.Close(); err != nil {
		return fmt.Errorf("write Parquet: %w", err)
	}
	return nil
}

// csvTable writes the columns of the Parquet form under their names.
type csvTable[T any] struct {
	w      *csv.Writer
	times  []bool
	record []string
}

func newCSV[T any](w io.Writer) (Table[T], error) {
	t := &csvTable[T]{w: csv.NewWriter(w)}
	kind := reflect.TypeFor[T]()
	for field := range kind.Fields() {
		name, options, _ := strings.Cut(field.Tag.Get("parquet"), ",")
		t.record = append(t.record, name)
		t.times = append(t.times, strings.Contains(options, "timestamp"))
	}
	if err := t.w.Write(t.record); err != nil {
		return nil, fmt.Errorf("write CSV: %w", err)
	}
	return t, nil
}

func (t *csvTable[T]) Write(rows []T) error {
	for i := range rows {
		v := reflect.ValueOf(&rows[i]).Elem()
		for c := range t.record {
			t.record[c] = cell(v.Field(c), t.times[c])
		}
		if err := t.w.Write(t.record); err != nil {
			return fmt.Errorf("write CSV: %w", err)
		}
	}
	return nil
}

func cell(v reflect.Value, isTime bool) string {
	switch {
	case v.Kind() == reflect.Pointer && v.IsNil():
		return ""
	case v.Kind() == reflect.Pointer:
		return cell(v.Elem(), isTime)
	case isTime:
		return time.UnixMicro(v.Int()).UTC().Format("2006-01-02T15:04:05.000000Z")
	}
	switch v.Kind() {
	case reflect.Float64:
		return strconv.FormatFloat(v.Float(), 'g', -1, 64)
	case reflect.Bool:
		return strconv.FormatBool(v.Bool())
	case reflect.Int32, reflect.Int64:
		return strconv.FormatInt(v.Int(), 10)
	}
	return noFormula(v.String())
}

// noFormula keeps a spreadsheet from taking a text for a formula: it would run what a person typed.
func noFormula(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

func (t *csvTable[T]) Close() error {
	t.w.Flush()
	if err := t.w.Error(); err != nil {
		return fmt.Errorf("write CSV: %w", err)
	}
	return nil
}
