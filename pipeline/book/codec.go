package book

import (
	"bytes"
	"compress/zlib"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"sync"

	"offtype/measure/geom"
)

// encode writes v (a struct of plain data) as JSON, leaving out the fields in skip. Unlike
// encoding/json it keeps numbers that are not a number, as null, so that "not measured" survives.
func encode(v any, skip map[string]bool) (string, error) {
	b, err := json.Marshal(plainData(reflect.ValueOf(v), skip))
	return string(b), err
}

func plainData(v reflect.Value, skip map[string]bool) any {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return plainData(v.Elem(), nil)
	case reflect.Struct:
		m := map[string]any{}
		for i := range v.NumField() {
			if name := v.Type().Field(i).Name; !skip[name] {
				m[name] = plainData(v.Field(i), nil)
			}
		}
		return m
	case reflect.Slice, reflect.Array:
		if v.Kind() == reflect.Slice && v.IsNil() {
			return nil
		}
		if v.Kind() == reflect.Slice && v.Type().Elem().Kind() == reflect.Uint8 {
			return packBytes(v.Bytes())
		}
		a := make([]any, v.Len())
		for i := range a {
			a[i] = plainData(v.Index(i), nil)
		}
		return a
	case reflect.Map:
		if v.IsNil() {
			return nil
		}
		m := map[string]any{}
		for _, k := range v.MapKeys() {
			m[fmt.Sprint(k.Interface())] = plainData(v.MapIndex(k), nil)
		}
		return m
	case reflect.Float64, reflect.Float32:
		f := v.Float()
		switch {
		case math.IsNaN(f):
			return nil
		case math.IsInf(f, 0):
			return strconv.FormatFloat(f, 'g', -1, 64)
		}
		return f
	}
	return v.Interface()
}

// decode reads what encode wrote into the struct that out points to. Fields that the text does
// not name keep what they had.
func decode(text string, out any) error {
	d := json.NewDecoder(bytes.NewReader([]byte(text)))
	d.UseNumber()
	var x any
	if err := d.Decode(&x); err != nil {
		return err
	}
	return setData(reflect.ValueOf(out).Elem(), x)
}

func setData(v reflect.Value, x any) error {
	if x == nil {
		if v.Kind() == reflect.Float64 || v.Kind() == reflect.Float32 {
			v.SetFloat(math.NaN())
		} else {
			v.SetZero()
		}
		return nil
	}
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		return setData(v.Elem(), x)
	case reflect.Struct:
		m, ok := x.(map[string]any)
		if !ok {
			return fmt.Errorf("%s: want an object, got %T", v.Type(), x)
		}
		for i := range v.NumField() {
			if y, ok := m[v.Type().Field(i).Name]; ok {
				if err := setData(v.Field(i), y); err != nil {
					return err
				}
			}
		}
		return nil
	case reflect.Slice, reflect.Array:
		return setList(v, x)
	case reflect.Map:
		return setMap(v, x)
	}
	return setScalar(v, x)
}

// packBytes writes a list of small numbers (one for each outline point) as base64 of zlib.
func packBytes(raw []byte) string { return base64.StdEncoding.EncodeToString(deflate(raw)) }

func unpackBytes(s string) ([]byte, error) {
	b, err := base64.StdEncoding.DecodeString(s)
	if err != nil {
		return nil, err
	}
	return inflate(b, maxPoints)
}

// Compressors hold large tables: they are used again.
var (
	writers = sync.Pool{New: func() any { w, _ := zlib.NewWriterLevel(io.Discard, zlib.BestSpeed); return w }}
	readers sync.Pool
)

func deflate(raw []byte) []byte {
	var out bytes.Buffer
	w := writers.Get().(*zlib.Writer)
	w.Reset(&out)
	w.Write(raw) // writing to memory does not fail
	w.Close()
	writers.Put(w)
	return out.Bytes()
}

// inflate unpacks at most limit bytes.
func inflate(b []byte, limit int64) ([]byte, error) {
	var err error
	r, _ := readers.Get().(io.ReadCloser)
	if r == nil {
		r, err = zlib.NewReader(bytes.NewReader(b))
	} else {
		err = r.(zlib.Resetter).Reset(bytes.NewReader(b), nil)
	}
	if err != nil {
		return nil, err
	}
	raw, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err != nil {
		return nil, err
	}
	readers.Put(r)
	if int64(len(raw)) > limit {
		return nil, fmt.Errorf("more than %d bytes", limit)
	}
	return raw, nil
}

func setList(v reflect.Value, x any) error {
	if s, ok := x.(string); ok && v.Kind() == reflect.Slice && v.Type().Elem().Kind() == reflect.Uint8 {
		raw, err := unpackBytes(s)
		if err != nil {
			return fmt.Errorf("%s: %w", v.Type(), err)
		}
		v.Set(reflect.MakeSlice(v.Type(), len(raw), len(raw)))
		for i, b := range raw {
			v.Index(i).SetUint(uint64(b))
		}
		return nil
	}
	a, ok := x.([]any)
	if !ok {
		return fmt.Errorf("%s: want a list, got %T", v.Type(), x)
	}
	if v.Kind() == reflect.Slice {
		v.Set(reflect.MakeSlice(v.Type(), len(a), len(a)))
	} else if len(a) != v.Len() {
		return fmt.Errorf("%s: want %d entries, got %d", v.Type(), v.Len(), len(a))
	}
	for i, y := range a {
		if err := setData(v.Index(i), y); err != nil {
			return err
		}
	}
	return nil
}

func setMap(v reflect.Value, x any) error {
	m, ok := x.(map[string]any)
	if !ok {
		return fmt.Errorf("%s: want an object, got %T", v.Type(), x)
	}
	v.Set(reflect.MakeMapWithSize(v.Type(), len(m)))
	for k, y := range m {
		key := reflect.New(v.Type().Key()).Elem()
		if err := setScalar(key, json.Number(k)); err != nil {
			return err
		}
		e := reflect.New(v.Type().Elem()).Elem()
		if err := setData(e, y); err != nil {
			return err
		}
		v.SetMapIndex(key, e)
	}
	return nil
}

func setScalar(v reflect.Value, x any) error {
	text := fmt.Sprint(x)
	switch v.Kind() {
	case reflect.String:
		v.SetString(text)
	case reflect.Bool:
		b, ok := x.(bool)
		if !ok {
			return fmt.Errorf("%s: want true or false, got %q", v.Type(), text)
		}
		v.SetBool(b)
	case reflect.Int, reflect.Int64, reflect.Int32:
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return fmt.Errorf("%s: %w", v.Type(), err)
		}
		v.SetInt(n)
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		n, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			return fmt.Errorf("%s: %w", v.Type(), err)
		}
		v.SetUint(n)
	case reflect.Float64, reflect.Float32:
		f, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return fmt.Errorf("%s: %w", v.Type(), err)
		}
		v.SetFloat(f)
	default:
		return fmt.Errorf("cannot read a %s", v.Type())
	}
	return nil
}

// packPoints writes points as zlib-compressed little-endian float64 pairs, x before y, each
// number as the difference of its bits to the one two places before (neighbours are alike, so
// the bytes compress better).
func packPoints(pts []geom.Px) []byte {
	raw := make([]byte, 0, 16*len(pts))
	var px, py uint64
	for _, p := range pts {
		x, y := math.Float64bits(p.X), math.Float64bits(p.Y)
		raw = binary.LittleEndian.AppendUint64(raw, x-px)
		raw = binary.LittleEndian.AppendUint64(raw, y-py)
		px, py = x, y
	}
	return deflate(raw)
}

// maxPoints bounds an outline read from a book or an import.
const maxPoints = 1 << 20

// unpackPoints reads what packPoints wrote.
func unpackPoints(b []byte) ([]geom.Px, error) {
	raw, err := inflate(b, 16*maxPoints)
	if err != nil {
		return nil, fmt.Errorf("read outline: %w", err)
	}
	if len(raw)%16 != 0 {
		return nil, fmt.Errorf("read outline: %d bytes are not a list of points", len(raw))
	}
	pts := make([]geom.Px, len(raw)/16)
	var px, py uint64
	for i := range pts {
		px += binary.LittleEndian.Uint64(raw[16*i:])
		py += binary.LittleEndian.Uint64(raw[16*i+8:])
		pts[i] = geom.Px{X: math.Float64frombits(px), Y: math.Float64frombits(py)}
	}
	return pts, nil
}
