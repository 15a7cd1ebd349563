package main

import "io"

func pipe(ask asked, in io.Reader, out io.Writer) error { return nil }
