package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
)

// serve is one run on one connection.
func serve(ask asked, conn io.ReadWriter) (err error) {
	r := bufio.NewReader(conn)
	hello, err := read(r)
	if err != nil {
		return err
	}
	refuse := func(why error) error {
		_ = write(conn, message{kind: 'X', text: []byte(why.Error())}, 0)
		return why
	}
	if hello.kind != 'H' || hello.b != 1 {
		return refuse(fmt.Errorf("expected a hello of version 1, got %q with %d", hello.kind, hello.b))
	}
	if ask, err = ask.parse(string(hello.text)); err != nil {
		return refuse(err)
	}
	run, err := ask.build()
	if err != nil {
		return refuse(err)
	}
	start := hello.a
	defer func() { err = errors.Join(err, run.write()) }()
	if err := write(conn, message{kind: 'W', a: start, b: 1, text: []byte(ask.welcome())}, start); err != nil {
		return err
	}
	for {
		m, err := read(r)
		if err != nil {
			return err
		}
		switch m.kind {
		case 'G':
			for _, f := range m.frames {
				run.node.Hear(f)
			}
			frames, reached, err := run.node.Advance(m.b-start, m.a-start)
			if err != nil {
				return refuse(fmt.Errorf("the plant: %w", err))
			}
			if err := write(conn, message{kind: 'R', a: start + reached, frames: frames}, start); err != nil {
				return err
			}
		case 'E':
			if m.b != 1 {
				return nil
			}
			text, err := run.truth(m.text, start)
			if err != nil {
				return refuse(err)
			}
			return write(conn, message{kind: 'T', a: m.a, text: text}, start)
		default:
			return refuse(fmt.Errorf("message %q was not expected", m.kind))
		}
	}
}
