package main

import (
	"context"
	"net/http"

	"undersheet/configs"
	"undersheet/web"
)

// newPages makes the pages of a daemon.
func newPages(d *daemon) http.Handler {
	return web.New(d.loop, web.Options{Acts: webActs{d}, Log: d.store, Record: d.store, Intake: d.ingest, Outbox: d.sender, Machinery: d.machinery(), Guides: configs.Guides(), Clock: d.opts.Clock.Now,
		Version: version(), Logger: d.opts.Logger})
}

// servePages serves the pages until ctx ends.
func (d *daemon) servePages(ctx context.Context) error { return web.Serve(ctx, d.pages, d.handler) }
