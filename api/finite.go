package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
)

// writeJSON writes an answer, whole or not at all. A number that JSON cannot hold becomes null: an
// answer with one figure missing is better than none.
func writeJSON(w io.Writer, v any) error {
	var buf bytes.Buffer
	err := encode(&buf, v)
	var bad *json.UnsupportedValueError
	if errors.As(err, &bad) {
		buf.Reset()
		err = encode(&buf, finite(reflect.ValueOf(v)).Interface())
		data := bytes.ReplaceAll(buf.Bytes(), standInText, []byte("null"))
		buf = *bytes.NewBuffer(data)
	}
	if err != nil {
		return fmt.Errorf("encode an answer: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("write an answer: %w", err)
	}
	return nil
}

func encode(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// standIn takes the place of NaN and infinities while an answer is encoded, because the encoder cannot
// write null for a number. No measure comes near it.
const standIn = 1.7976931348623e+308

var standInText = []byte("1.7976931348623e+308")

// finite is a copy of v with every number that JSON cannot hold replaced by the stand-in.
func finite(v reflect.Value) reflect.Value {
	switch v.Kind() {
	case reflect.Float32, reflect.Float64:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			return reflect.ValueOf(standIn).Convert(v.Type())
		}
	case reflect.Pointer:
		if !v.IsNil() {
			out := reflect.New(v.Type().Elem())
			out.Elem().Set(finite(v.Elem()))
			return out
		}
	case reflect.Interface:
		if !v.IsNil() {
			out := reflect.New(v.Type()).Elem()
			out.Set(finite(v.Elem()))
			return out
		}
	case reflect.Struct:
		out := reflect.New(v.Type()).Elem()
		out.Set(v)
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				out.Field(i).Set(finite(v.Field(i)))
			}
		}
		return out
	case reflect.Slice, reflect.Array:
		return finiteList(v)
	case reflect.Map:
		if !v.IsNil() {
			out := reflect.MakeMapWithSize(v.Type(), v.Len())
			for _, k := range v.MapKeys() {
				out.SetMapIndex(k, finite(v.MapIndex(k)))
			}
			return out
		}
	}
	return v
}

func finiteList(v reflect.Value) reflect.Value {
	out := reflect.New(v.Type()).Elem()
	if v.Kind() == reflect.Slice {
		if v.IsNil() {
			return v
		}
		out.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
	}
	for i := range v.Len() {
		out.Index(i).Set(finite(v.Index(i)))
	}
	return out
}
