(() => {
  "use strict";
  const data = JSON.parse(document.getElementById("drive-data").textContent);
  const whole = [data.axis[0], data.axis[data.axis.length - 1]];
  const PRINT_PX = 690;
  const STEPS_S = [1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400];
  const LOG_TICKS = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000];
  const MIN_SPAN_S = 5;
  let range = whole.slice();
  let printing = false;
  let hovering = false;

  function interpolate(v, knots, images) {
    let i = 0;
    while (i < knots.length - 2 && v > knots[i + 1]) i++;
    return images[i] + ((v - knots[i]) * (images[i + 1] - images[i])) / (knots[i + 1] - knots[i]);
  }
  const toClock = (x) => interpolate(x, data.axis, data.clock);
  const toAxis = (t) => interpolate(t, data.clock, data.axis);

  function clockText(t, seconds) {
    const s = Math.round(t);
    const two = (n) => String(n).padStart(2, "0");
    return `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}` + (seconds ? `:${two(s % 60)}` : "");
  }

  function theme() {
    const style = getComputedStyle(document.documentElement);
    const pick = (name, print) => (printing ? print : style.getPropertyValue(name).trim());
    return {
      ink: pick("--ink", "#000000"),
      soft: pick("--soft", "#333333"),
      page: pick("--page", "#ffffff"),
      line: pick("--line", "#b8bcc2"),
      band: pick("--band", "rgba(60,70,85,.12)"),
      // A dark page has its own shade of each colour, kept in the style sheet.
      color: (hex) => (!printing && style.getPropertyValue("--c" + hex.slice(1)).trim()) || hex,
    };
  }

  const widthOf = (div) => (printing ? PRINT_PX : div.clientWidth);
  const limitText = (limit) => `${limit.label} ${Number(limit.y.toFixed(1))}`;
  const family = getComputedStyle(document.body).fontFamily;
  const pen = document.createElement("canvas").getContext("2d");

  // One frame for all panels, so that their time axes stand under one another; at the right as much room as the
  // longest label needs.
  function frame(width) {
    const narrow = width < 600,
      font = narrow ? 10 : 12,
      arrow = narrow ? 8 : 12;
    pen.font = `bold ${font}px ${family}`;
    const labels = data.figures.flatMap((fig) => [
      ...(fig.briefs || []).filter((_, i) => fig.at_end[i]),
      ...(fig.limits || []).map(limitText),
    ]);
    const longest = Math.max(20, ...labels.map((label) => pen.measureText(label).width));
    return { narrow, font, arrow, left: narrow ? 38 : 48, right: Math.ceil(longest) + arrow + 5, top: 8, bottom: 22 };
  }

  function ticks(plotPx) {
    const room = Math.max(2, plotPx / (plotPx < 500 ? 44 : 62));
    const pxPerS = plotPx / (range[1] - range[0]);
    const step = STEPS_S.find((s) => (range[1] - range[0]) / s <= room) || STEPS_S[STEPS_S.length - 1];
    const vals = [],
      text = [];
    const from = toClock(range[0]),
      to = toClock(range[1]);
    for (let t = Math.ceil(from / step) * step; t <= to; t += step) {
      const x = toAxis(t);
      const hidden = data.breaks.some(([a, b]) => x > a && x < b);
      const crowded = vals.length && (x - vals[vals.length - 1]) * pxPerS < 44;
      if (hidden || crowded) continue;
      vals.push(x);
      text.push(clockText(t, step < 60));
    }
    return { vals, text };
  }

  // Labels at the right end, moved apart until none covers another.
  function spread(labels, gap, height) {
    labels.sort((a, b) => a.px - b.px);
    labels.forEach((l, i) => {
      l.at = Math.max(l.px, i ? labels[i - 1].at + gap : gap / 2);
    });
    for (let i = labels.length - 1, low = height - gap / 2; i >= 0; i--) {
      labels[i].at = Math.min(labels[i].at, low);
      low = labels[i].at - gap;
    }
    return labels;
  }

  function lastSeen(trace) {
    for (let i = trace.x.length - 1; i >= 0; i--) {
      if (trace.x[i] > range[1] || trace.y[i] === null) continue;
      const crosses = (trace.y[i + 1] ?? null) !== null;
      return trace.x[i] >= range[0] || crosses ? i : null;
    }
    return null;
  }

  function endLabels(fig, look, box) {
    const scale = (v) => (fig.log ? Math.log10(Math.max(v, 0.1)) : v);
    const px = (v) => (box.plotHeight * (fig.range[1] - scale(v))) / (fig.range[1] - fig.range[0]);
    const labels = [];
    fig.traces.forEach((trace, i) => {
      const at = fig.at_end[i] ? lastSeen(trace) : null;
      if (at === null) return;
      labels.push({
        px: px(trace.y[at]),
        y: trace.y[at],
        text: fig.briefs[i],
        color: look.color(trace.line.color),
        bold: true,
      });
    });
    fig.limits.forEach((l) => labels.push({ px: px(l.y), y: l.y, text: limitText(l), color: look.soft, bold: false }));
    return spread(labels, box.font + 2, box.plotHeight).map((l) => ({
      text: l.bold ? `<b>${l.text}</b>` : l.text,
      font: { size: box.font, color: look.ink },
      xref: "x",
      yref: "y",
      x: range[1],
      y: scale(l.y),
      axref: "pixel",
      ayref: "pixel",
      ax: box.arrow,
      ay: l.at - l.px,
      xanchor: "left",
      yanchor: "middle",
      showarrow: true,
      arrowhead: 0,
      arrowwidth: l.bold ? 2.5 : 1,
      arrowcolor: l.color,
      standoff: 0,
    }));
  }

  function laneLabels(fig, look, box, plotPx) {
    const letters = Math.floor(plotPx / (box.font * 0.56));
    return fig.lanes.map(([name, said], i) => {
      const full = said ? `${name}: ${said}` : name;
      const cut = full.length > letters ? full.slice(0, letters - 1) + "…" : full;
      const safe = cut.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
      return {
        text: safe,
        font: { size: box.font, color: look.ink },
        showarrow: false,
        xref: "paper",
        x: 0,
        xanchor: "left",
        yref: "y",
        y: i + 0.1,
        yanchor: "bottom",
        bgcolor: look.page,
        borderpad: 0,
      };
    });
  }

  function layout(fig, div) {
    const width = widthOf(div),
      look = theme(),
      box = frame(width);
    const plotPx = width - box.left - box.right;
    box.plotHeight = fig.height - box.top - box.bottom;
    const tick = ticks(plotPx);
    const shapes = [],
      annotations = [];
    const upright = (x, color, dash, w) =>
      shapes.push({
        type: "line",
        xref: "x",
        yref: "paper",
        x0: x,
        x1: x,
        y0: 0,
        y1: 1,
        layer: "below",
        line: { color, dash, width: w },
      });
    for (const [a, b, label] of data.breaks) {
      shapes.push({
        type: "rect",
        xref: "x",
        yref: "paper",
        x0: a,
        x1: b,
        y0: 0,
        y1: 1,
        layer: "below",
        fillcolor: look.band,
        line: { width: 0 },
      });
      upright(a, look.soft, "solid", 1);
      upright(b, look.soft, "solid", 1);
      if (b < range[0] || a > range[1]) continue;
      const middle = (Math.max(a, range[0]) + Math.min(b, range[1])) / 2;
      annotations.push({
        text: "<b>//</b>",
        xref: "x",
        x: middle,
        yref: "paper",
        y: 0,
        yanchor: "middle",
        showarrow: false,
        font: { size: 13, color: look.ink },
        bgcolor: look.page,
        borderpad: 0,
      });
      if (fig.height >= 180 && fig.kind === "lines") {
        annotations.push({
          text: label,
          textangle: -90,
          xref: "x",
          x: middle,
          yref: "paper",
          y: 0.98,
          yanchor: "top",
          showarrow: false,
          font: { size: box.font, color: look.ink },
        });
      }
    }
    data.changes.forEach((x) => upright(x, look.soft, "dot", 0.7));
    const xaxis = {
      range: range.slice(),
      tickmode: "array",
      tickvals: tick.vals,
      ticktext: tick.text,
      tickfont: { size: box.font },
      ticks: "outside",
      ticklen: 3,
      showgrid: true,
      gridcolor: look.line,
      gridwidth: 0.5,
      zeroline: false,
      showline: true,
      linecolor: look.soft,
      fixedrange: box.narrow,
      unifiedhovertitle: { text: "at" },
    };
    let yaxis;
    if (fig.kind === "lines") {
      if (fig.band) {
        shapes.push({
          type: "rect",
          xref: "paper",
          yref: "y",
          x0: 0,
          x1: 1,
          y0: fig.band[0],
          y1: fig.band[1],
          layer: "below",
          fillcolor: look.band,
          line: { width: 0 },
        });
      }
      fig.limits.forEach((l) =>
        shapes.push({
          type: "line",
          xref: "paper",
          yref: "y",
          x0: 0,
          x1: 1,
          y0: l.y,
          y1: l.y,
          layer: "above",
          line: { color: look.ink, dash: l.dash, width: 1 },
        }),
      );
      annotations.push(...endLabels(fig, look, box));
      yaxis = {
        type: fig.log ? "log" : "linear",
        range: fig.range,
        fixedrange: true,
        tickfont: { size: box.font },
        gridcolor: look.line,
        gridwidth: 0.5,
        zeroline: false,
        showline: true,
        linecolor: look.soft,
        nticks: Math.max(3, Math.round(box.plotHeight / 40)),
      };
      if (fig.log) Object.assign(yaxis, { tickmode: "array", tickvals: LOG_TICKS, ticktext: LOG_TICKS.map(String) });
      if (fig.names.length)
        Object.assign(yaxis, {
          tickmode: "array",
          tickvals: fig.names.map((n) => n[0]),
          ticktext: fig.names.map((n) => n[1]),
        });
    } else {
      annotations.push(...laneLabels(fig, look, box, plotPx));
      yaxis = {
        range: [fig.lanes.length - 0.5, -0.5],
        fixedrange: true,
        showticklabels: false,
        showgrid: false,
        zeroline: false,
        showline: true,
        linecolor: look.soft,
      };
    }
    return {
      width,
      height: fig.height,
      margin: { l: box.left, r: box.right, t: box.top, b: box.bottom, pad: 0 },
      showlegend: false,
      paper_bgcolor: "rgba(0,0,0,0)",
      plot_bgcolor: "rgba(0,0,0,0)",
      font: { color: look.ink, size: box.font, family },
      xaxis,
      yaxis,
      shapes,
      annotations,
      barmode: "overlay",
      dragmode: box.narrow ? false : "zoom",
      hovermode: fig.kind === "lines" ? "x unified" : "closest",
      hoverlabel: { bgcolor: look.page, bordercolor: look.soft, font: { color: look.ink, size: box.font } },
    };
  }

  function traces(fig, div) {
    const look = theme();
    const { narrow } = frame(widthOf(div));
    const colored = (part) => ({ ...part, color: look.color(part.color) });
    if (fig.kind === "strip")
      return fig.traces.map((trace) => ({
        ...trace,
        marker: { ...colored(trace.marker), line: colored(trace.marker.line) },
      }));
    const shown = fig.traces.map((trace, i) => ({
      ...trace,
      name: narrow ? fig.briefs[i] : trace.name,
      line: colored(trace.line),
      hovertemplate: "%{y:.4~g}<extra>%{fullData.name}</extra>",
    }));
    // The plot would name a moment by its place on the axis; this unseen line names it by the clock.
    const x = fig.traces[0].x,
      middle = (fig.range[0] + fig.range[1]) / 2;
    const moments = {
      type: "scatter",
      mode: "lines",
      line: { width: 0 },
      x,
      y: x.map(() => (fig.log ? 10 ** middle : middle)),
      customdata: x.map((v) => clockText(toClock(v), true)),
      hovertemplate: "<b>%{customdata}</b><extra></extra>",
    };
    return [moments, ...shown];
  }

  const drawn = data.figures.map((fig) => ({ fig, div: document.getElementById(fig.id) }));

  function draw() {
    return Promise.all(
      drawn.map(({ fig, div }) => {
        div.style.height = fig.height + "px";
        return Plotly.react(div, traces(fig, div), layout(fig, div), { displayModeBar: false, doubleClick: false });
      }),
    );
  }

  function show(from, to) {
    const span = Math.min(Math.max(to - from, MIN_SPAN_S), whole[1] - whole[0]);
    const start = Math.min(Math.max(from, whole[0]), whole[1] - span);
    range = [start, start + span];
    return draw();
  }

  function listen({ fig, div }) {
    div.on("plotly_relayout", (change) => {
      const from = change["xaxis.range[0]"],
        to = change["xaxis.range[1]"];
      if (from !== undefined && to !== undefined) show(from, to);
    });
    div.on("plotly_doubleclick", () => {
      show(...whole);
    });
    if (fig.kind !== "lines") return;
    // One moment, read in every panel.
    const others = drawn.filter((other) => other.div !== div && other.fig.kind === "lines");
    div.on("plotly_hover", (event) => {
      if (hovering || !event.xvals) return;
      hovering = true;
      others.forEach((other) => Plotly.Fx.hover(other.div, { xval: event.xvals[0] }, "xy"));
      hovering = false;
    });
    div.on("plotly_unhover", () => {
      if (hovering) return;
      hovering = true;
      others.forEach((other) => Plotly.Fx.unhover(other.div));
      hovering = false;
    });
  }

  document.querySelectorAll("[data-zoom]").forEach((button) =>
    button.addEventListener("click", () => {
      const [a, b] = range,
        span = b - a;
      const next = {
        in: [a + span / 4, b - span / 4],
        out: [a - span / 2, b + span / 2],
        left: [a - span / 3, b - span / 3],
        right: [a + span / 3, b + span / 3],
        all: whole,
      };
      show(...next[button.dataset.zoom]);
    }),
  );
  document.querySelectorAll("[data-at]").forEach((button) =>
    button.addEventListener("click", () => {
      const x = toAxis(Number(button.dataset.at));
      show(x - 120, x + 120);
      document.querySelector(".controls").scrollIntoView({ block: "start" });
    }),
  );

  let waiting = 0;
  window.addEventListener("resize", () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => {
      if (!printing) draw();
    }, 120);
  });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  window.addEventListener("beforeprint", () => {
    printing = true;
    draw();
  });
  window.addEventListener("afterprint", () => {
    printing = false;
    draw();
  });

  draw().then(() => {
    drawn.forEach(listen);
    document.documentElement.dataset.drawn = "yes";
  });
})();
