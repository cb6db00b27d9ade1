// Draws a stack's curves in the place of the drawings that the page came with, and
// renews them with the page.
"use strict";
(() => {
  const ink = "#111", quiet = "#444", rule = "#ddd", red = "#9c1c1c", shade = "rgba(30,90,160,.16)", blue = "#0b3d78";
  const dashes = [[], [8, 4], [2, 3], [12, 4, 2, 4], [4, 4], [16, 6]]; // lines of a stack differ by their dashes
  const kept = new Map(); // name of a drawing: { plot, box, of }
  const font = '14px system-ui, "DejaVu Sans", sans-serif';
  let data = null, busy = false, again = false;

  const figure = (v) => v == null ? "—" : v >= 100 ? v.toFixed(0) : Number(v.toPrecision(3)).toString();

  // join puts series with hours of their own on common hours.
  function join(parts) {
    const tables = parts.map((p) => [p.x, ...p.ys]);
    return uPlot.join(tables, parts.map((p) => [null, ...p.ys.map(() => (p.bridge ? 2 : 0))].slice(1).length ? [0, ...p.ys.map(() => (p.bridge ? 1 : 0))] : undefined));
  }

  function eventMarks(u) {
    const { ctx, bbox } = u, ratio = devicePixelRatio || 1;
    ctx.save();
    ctx.strokeStyle = quiet; ctx.fillStyle = ink; ctx.lineWidth = ratio; ctx.font = `700 ${12 * ratio}px system-ui, "DejaVu Sans", sans-serif`; ctx.textAlign = "center";
    let last = -Infinity;
    for (const e of data.events) {
      const x = Math.round(u.valToPos(e.x, "x", true));
      if (x < bbox.left || x > bbox.left + bbox.width) continue;
      ctx.setLineDash([2 * ratio, 4 * ratio]); ctx.beginPath(); ctx.moveTo(x, bbox.top); ctx.lineTo(x, bbox.top + bbox.height); ctx.stroke();
      if (x - last > 14 * ratio) { ctx.fillText(e.n, x, bbox.top - 5 * ratio); last = x; }
    }
    level(u, data.end_level, "end level " + figure(data.end_level) + " ppm");
    ctx.restore();
  }

  function level(u, value, text) {
    const { ctx, bbox } = u, ratio = devicePixelRatio || 1, y = Math.round(u.valToPos(value, "y", true));
    if (!(y >= bbox.top && y <= bbox.top + bbox.height)) return;
    ctx.save();
    ctx.strokeStyle = red; ctx.fillStyle = red; ctx.lineWidth = 2 * ratio; ctx.setLineDash([7 * ratio, 5 * ratio]);
    ctx.beginPath(); ctx.moveTo(bbox.left, y); ctx.lineTo(bbox.left + bbox.width, y); ctx.stroke();
    ctx.font = `${12 * ratio}px system-ui, "DejaVu Sans", sans-serif`; ctx.textAlign = "right"; ctx.fillText(text, bbox.left + bbox.width - 6 * ratio, y - 5 * ratio);
    ctx.restore();
  }

  function options(box, log, series, bands, top) {
    const width = Math.max(240, box.clientWidth || 600), tall = width > 560;
    const axis = { stroke: ink, grid: { stroke: rule, width: 1 }, ticks: { stroke: quiet, width: 1 }, font };
    return {
      width, height: tall ? 380 : 240, series, bands, padding: [22, 10, 0, 0], legend: { live: true, show: tall }, cursor: { drag: { x: true, y: false } },
      scales: { x: { time: false, range: (u, lo, hi) => [Math.min(0, lo), hi] },
        y: log ? { distr: 3, range: (u, lo, hi) => [1, Math.max(10, top * 1.3)] } : { range: (u, lo, hi) => [0, top * 1.08 || 1] } },
      axes: [{ ...axis, label: "hours since t = 0", labelFont: font, labelSize: 22, incrs: [1, 2, 6, 12, 24, 48, 96, 192] }, { ...axis, label: "ppm", labelFont: font, labelSize: 22, size: 52, values: (u, vs) => vs.map((v) => v == null ? "" : figure(v)) }],
      hooks: { draw: [eventMarks] },
    };
  }

  // Values of 0 cannot stand on a logarithmic axis: they lie on its floor.
  const floor = (ys, log) => log ? ys.map((v) => Math.max(v, 1)) : ys;
  const highest = () => Math.max(data.end_level, ...data.lines.flatMap((l) => l.y), ...data.lines.flatMap((l) => l.fit.p50)) ;

  // overview: what every line read.
  function overview(log) {
    const series = [{ label: "hours", value: (u, v) => v == null ? "—" : v.toFixed(1) }], parts = [];
    data.lines.forEach((l, i) => {
      series.push({ label: l.key + " " + l.name, stroke: ink, width: 1.5, dash: dashes[i % dashes.length], spanGaps: true, points: { show: false }, value: (u, v) => figure(v) });
      parts.push({ x: l.x, ys: [floor(l.y, log)] });
    });
    return { series, parts, bands: [] };
  }

  // line: its readings as dots, its fit, from now on the forecast, and the fan.
  function line(i, log) {
    const l = data.lines[i], f = l.fit, ahead = (k) => data.exposure && f.x[k] > data.now, none = { points: { show: false }, spanGaps: true };
    const first = f.x.findIndex((_, k) => ahead(k)), cut = first < 0 ? f.x.length : first;
    const series = [{ label: "hours", value: (u, v) => v == null ? "—" : v.toFixed(1) },
      { label: "reading", paths: () => null, points: { show: true, size: 4, stroke: ink, fill: ink }, value: (u, v) => figure(v) },
      { label: "95 of 100", ...none, stroke: "transparent" }, { label: "5 of 100", ...none, stroke: "transparent" },
      { label: "fit", ...none, stroke: blue, width: 3 }, { label: "forecast", ...none, stroke: blue, width: 3, dash: [8, 6] }];
    return { series, bands: [{ series: [2, 3], fill: shade }], parts: [{ x: l.x, ys: [floor(l.y, log)] },
      { x: f.x, ys: [floor(f.p95, log), floor(f.p05, log), floor(f.p50, log).map((v, k) => k < cut || k === cut && false ? v : null), floor(f.p50, log).map((v, k) => k >= cut - 1 && first >= 0 ? v : null)] }] };
  }

  function draw(fig, log) {
    const name = fig.dataset.draw + (log ? " log" : "");
    const made = fig.dataset.draw === "all" ? overview(log) : line(Number(fig.dataset.draw), log);
    const of = data.treatment + "/" + made.series.length, values = uPlot.join(made.parts.map((p) => [p.x, ...p.ys]));
    let k = kept.get(name);
    if (k && (k.of !== of || k.top !== highest())) { k.plot.destroy(); kept.delete(name); k = null; }
    if (k) { fig.insertBefore(k.box, fig.firstChild); k.plot.setData(values); }
    else {
      const box = document.createElement("div");
      fig.insertBefore(box, fig.firstChild);
      k = { box, of, top: highest(), plot: new uPlot(options(box, log, made.series, made.bands, highest()), values, box) };
      kept.set(name, k);
    }
    fig.classList.add("drawn");
  }

  function mount() {
    const here = document.getElementById("curves");
    if (!here || !data) return;
    const log = here.dataset.axis === "log";
    for (const fig of here.querySelectorAll("figure[data-draw]")) draw(fig, log);
  }

  async function fetchCurves() {
    const here = document.getElementById("curves");
    if (!here || typeof uPlot === "undefined") return;
    if (busy) { again = true; return; }
    busy = true; again = false;
    try {
      const answer = await fetch(here.dataset.curves, { cache: "no-store" });
      if (answer.ok) { data = await answer.json(); mount(); }
    } finally { busy = false; if (again) fetchCurves(); }
  }

  document.addEventListener("renewed", () => { mount(); fetchCurves(); });
  addEventListener("resize", () => { for (const k of kept.values()) if (k.box.clientWidth) k.plot.setSize({ width: Math.max(240, k.box.clientWidth), height: k.plot.height }); });
  fetchCurves();
})();
