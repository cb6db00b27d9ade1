package main

import (
	"context"
	"net/http"
)

func newPages(d *daemon) (http.Handler, error)         { return http.NewServeMux(), nil }
func (d *daemon) servePages(ctx context.Context) error { <-ctx.Done(); return nil }
