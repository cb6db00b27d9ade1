// Draws a stack's curves in the place of the drawings that the page came with, and
// renews them with the page. Without it the drawings stay.
"use strict";
(() => {
  const ink = "#111", paper = "#fff", quiet = "#444", rule = "#ddd", red = "#9c1c1c", blue = "#0b3d78", shade = "rgba(30,90,160,.16)";
  const dashes = [[], [8, 4], [2, 3], [12, 4, 2, 4], [4, 4], [16, 6]]; // the lines of a stack differ by their dashes
  const type = 'system-ui, "DejaVu Sans", sans-serif';
  const kept = new Map(); // drawings by name: { plot, box, of }
  let data = null, busy = false, again = false;

  const say = (name) => document.getElementById("curves")?.dataset[name] ?? ""; // the page brings the words of its language
  const comma = (s) => s.replace(".", say("point"));
  const figure = (v) => v == null ? "—" : comma(v >= 100 ? v.toFixed(0) : String(Number(v.toPrecision(3))));
  const hours = () => ({ label: say("hours"), value: (u, v) => v == null ? "—" : comma(v.toFixed(1)) });
  const bare = { points: { show: false }, spanGaps: true, value: (u, v) => figure(v) };
  const highest = () => Math.max(data.end_level, 10, ...data.lines.flatMap((l) => [...l.y, ...l.fit.p50]));
  const latest = () => Math.max(data.planned_end, ...data.lines.map((l) => l.x.at(-1) ?? 0));
  const floor = (ys, log) => log ? ys.map((v) => Math.max(v, 1)) : ys; // 0 has no place on a logarithmic axis: it lies on its floor

  // overview is what every line read.
  function overview(log) {
    return {
      series: [hours(), ...data.lines.map((l, i) => ({ ...bare, label: l.key + " " + l.name, stroke: ink, width: 1.5, dash: dashes[i % dashes.length] }))],
      parts: data.lines.map((l) => [l.x, floor(l.y, log)]), bands: [],
    };
  }

  // line is one line: readings as dots, the fit, from now on the forecast, and the fan.
  function line(i, log) {
    const { x, y, fit } = data.lines[i];
    const first = data.exposure ? fit.x.findIndex((h) => h > data.now) : -1, cut = first < 0 ? fit.x.length : first;
    const p50 = floor(fit.p50, log);
    return {
      series: [hours(),
        { label: say("reading"), paths: () => null, points: { show: true, size: 4, stroke: ink, fill: ink }, value: (u, v) => figure(v) },
        { ...bare, label: say("upper"), stroke: "transparent" }, { ...bare, label: say("lower"), stroke: "transparent" },
        { ...bare, label: say("fit"), stroke: blue, width: 3 }, { ...bare, label: say("forecast"), stroke: blue, width: 3, dash: [8, 6] }],
      parts: [[x, floor(y, log)], [fit.x, floor(fit.p95, log), floor(fit.p05, log), p50.map((v, k) => k < cut ? v : null), p50.map((v, k) => first >= 0 && k >= cut - 1 ? v : null)]],
      bands: [{ series: [2, 3], fill: shade }],
    };
  }

  // write puts words on a drawing, with an edge that keeps them apart from what lies under them.
  function write(ctx, text, x, y) {
    ctx.save();
    ctx.strokeStyle = paper; ctx.lineWidth = 4 * (devicePixelRatio || 1); ctx.lineJoin = "round"; ctx.setLineDash([]);
    ctx.strokeText(text, x, y);
    ctx.restore();
    ctx.fillText(text, x, y);
  }

  // marks are the end level and the numbered events.
  function marks(u) {
    const { ctx, bbox } = u, one = devicePixelRatio || 1, right = bbox.left + bbox.width;
    const stroke = (x1, y1, x2, y2) => { ctx.beginPath(); ctx.moveTo(x1, y1); ctx.lineTo(x2, y2); ctx.stroke(); };
    ctx.save();
    ctx.strokeStyle = quiet; ctx.fillStyle = ink; ctx.lineWidth = one; ctx.setLineDash([2 * one, 4 * one]);
    ctx.font = `700 ${12 * one}px ${type}`; ctx.textAlign = "center"; ctx.textBaseline = "alphabetic";
    let taken = -Infinity;
    for (const e of data.events) {
      const x = Math.round(u.valToPos(e.x, "x", true));
      if (!(x >= bbox.left && x <= right)) continue;
      stroke(x, bbox.top, x, bbox.top + bbox.height);
      if (x - taken > 15 * one) { ctx.fillText(e.n, x, bbox.top - 5 * one); taken = x; }
    }
    const y = Math.round(u.valToPos(data.end_level, "y", true));
    if (y >= bbox.top && y <= bbox.top + bbox.height) {
      ctx.strokeStyle = ctx.fillStyle = red; ctx.lineWidth = 2 * one; ctx.setLineDash([7 * one, 5 * one]);
      stroke(bbox.left, y, right, y);
      ctx.font = `${12 * one}px ${type}`; ctx.textAlign = "right";
      write(ctx, say("end").replace("{level}", figure(data.end_level)), right - 5 * one, y - 5 * one);
    }
    ctx.restore();
  }

  // keys are the letters of the lines where they end.
  function keys(u) {
    const { ctx, bbox } = u, one = devicePixelRatio || 1, step = 14 * one;
    const ends = data.lines.filter((l) => l.y.length).map((l) => ({ key: l.key, x: u.valToPos(l.x.at(-1), "x", true), y: u.valToPos(Math.max(l.y.at(-1), u.scales.y.min), "y", true) })).sort((a, b) => b.y - a.y);
    ctx.save();
    ctx.fillStyle = ink; ctx.font = `700 ${13 * one}px ${type}`; ctx.textAlign = "left"; ctx.textBaseline = "middle";
    let above = bbox.top + bbox.height + step;
    for (const e of ends) { above = Math.min(e.y, above - step); write(ctx, e.key, e.x + 5 * one, above); }
    ctx.restore();
  }

  function options(box, log, made, all) {
    const width = Math.max(240, box.clientWidth), font = `14px ${type}`;
    const axis = { stroke: ink, grid: { stroke: rule, width: 1 }, ticks: { stroke: quiet, width: 1 }, font, labelFont: font, labelSize: 20 };
    return {
      width, height: width > 560 ? 400 : 250, padding: [22, 26, 0, 0], series: made.series, bands: made.bands,
      legend: { show: all && width > 560, markers: { show: false } }, cursor: { drag: { x: false, y: false } },
      scales: {
        x: { time: false, range: () => [0, latest()] },
        y: log ? { distr: 3, range: () => [1, highest() * 1.4] } : { range: () => [0, highest() * 1.06] },
      },
      axes: [{ ...axis, label: say("since"), incrs: [1, 2, 6, 12, 24, 48, 96, 192], space: 44 },
        { ...axis, label: "ppm", size: 54, values: (u, vs) => vs.map((v) => v == null ? "" : figure(v)) }],
      hooks: { draw: all ? [marks, keys] : [marks] },
    };
  }

  function draw(fig, log) {
    const which = fig.dataset.draw, all = which === "all", name = which + (log ? " log" : "");
    const made = all ? overview(log) : line(Number(which), log), values = uPlot.join(made.parts);
    const of = `${data.treatment}/${data.start}/${made.series.length}`;
    let k = kept.get(name);
    if (k && k.of !== of) { k.plot.destroy(); kept.delete(name); k = null; }
    if (k) { fig.prepend(k.box); k.plot.setData(values); }
    else {
      const box = document.createElement("div");
      box.setAttribute("role", "img"); box.setAttribute("aria-label", fig.textContent.trim());
      fig.prepend(box);
      k = { box, of, plot: new uPlot(options(box, log, made, all), values, box) };
      kept.set(name, k);
    }
    fig.classList.add("drawn");
  }

  function mount() {
    const here = document.getElementById("curves");
    if (here && data) for (const fig of here.querySelectorAll("figure[data-draw]")) draw(fig, here.dataset.axis === "log");
  }

  async function renew() {
    const here = document.getElementById("curves");
    if (!here) return;
    if (busy) { again = true; return; }
    busy = true; again = false;
    try {
      const answer = await fetch(here.dataset.curves, { cache: "no-store" });
      if (answer.ok) { data = await answer.json(); mount(); }
    } catch { /* the page itself says when it has lost touch */ } finally { busy = false; if (again) renew(); }
  }

  document.addEventListener("renewed", () => { mount(); renew(); });
  addEventListener("resize", () => { for (const k of kept.values()) if (k.box.clientWidth) k.plot.setSize({ width: Math.max(240, k.box.clientWidth), height: k.plot.height }); });
  renew();
})();
