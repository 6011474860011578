// Charts in the place of the drawings: zoom and pan by mouse, touch and buttons; finer points are fetched for what is shown.
"use strict";
(() => {
  const page = document.getElementById("trends");
  const trouble = document.getElementById("trouble");
  const axis = trendAxis(page.dataset.zone);
  const MINUTE = 60000, SHORTEST = 5 * MINUTE, LONGEST = 50 * 366 * 86400000, SETTLED = 250;
  const LEFT = 52, RIGHT = 10; // px beside the plots, the same for all, so that one instant stands above the other
  const DASHES = [null, [9, 3], [2, 3], [10, 3, 2, 3]];
  const SHAPES = {
    meal: "M-6 9h12a6 6 0 0 1-12 0z", log: "M-5 7h10v10h-10z", low: "M-6 12L0 6 6 12 0 18z",
    high: "M-7 19L0 5 7 19z", medium: "M-7 19L0 5 7 19z",
  };
  const TALL = { running: 6, weak: 14, stopped: 24 };
  const SVG = "http://www.w3.org/2000/svg";
  const charts = new Map(); // id -> { graph, data }
  let now = Number(page.dataset.now);
  let span = null; // what is shown of the linked charts, [ms, ms]
  let home = null; // where it began
  let lanes = {};
  let asked = null; // the query that is under way
  let settle = 0;
  let moving = false;

  // These three write style attributes, which our content security policy does not allow, and nothing here needs them.
  const needless = [Dygraph.Plugins.Legend, Dygraph.Plugins.Annotations, Dygraph.Plugins.RangeSelector];
  Dygraph.PLUGINS = Dygraph.PLUGINS.filter((plugin) => !needless.includes(plugin));

  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const look = (number) => colour(`--look-${"abcdefgh"[number % 8]}`);
  const percent = (share) => `${Math.round(share * 100)} %`;
  const degrees = (value) => value.toFixed(1).replace("-", "\u2212");

  // --- one chart

  // Lines have points of their own; the library wants rows that all share. null joins, NaN parts.
  function rows(lines) {
    const all = new Map();
    lines.forEach((line, n) => {
      let before = null;
      for (const one of line.rows) {
        const at = one ? one[0] : before + 1e-3;
        if (!one && before === null) continue;
        if (!all.has(at)) all.set(at, new Array(lines.length).fill(null));
        all.get(at)[n] = one ? one.slice(1) : [NaN, NaN, NaN];
        before = at;
      }
    });
    return [...all.entries()].sort((one, other) => one[0] - other[0]).map(([at, values]) => [at, ...values]);
  }

  function underlay(data) {
    return (canvas, area, graph) => {
      canvas.save();
      canvas.beginPath();
      canvas.rect(area.x, area.y, area.w, area.h);
      canvas.clip();
      for (const band of data.bands) {
        const upright = band.axis === "x";
        const [from, to] = [band.begin, band.end].map((at) => (upright ? graph.toDomXCoord(at) : graph.toDomYCoord(at)));
        canvas.globalAlpha = 0.25;
        canvas.fillStyle = upright ? look(band.look) : colour("--shrimp");
        if (upright) canvas.fillRect(from, area.y, Math.max(2, to - from), area.h);
        else canvas.fillRect(area.x, Math.min(from, to), area.w, Math.max(3, Math.abs(to - from)));
        canvas.globalAlpha = 1;
        if (upright && band.mid !== null) {
          canvas.fillRect(graph.toDomXCoord(band.mid) - 1, area.y, 2, area.h);
          canvas.fillStyle = colour("--ink");
          canvas.font = "13px system-ui, sans-serif";
          canvas.textAlign = from > area.x + area.w / 2 ? "right" : "left";
          canvas.fillText(band.label, canvas.textAlign === "right" ? from - 4 : to + 4, area.y + 14 + 16 * data.bands.indexOf(band));
        }
      }
      if (data.x === "instant") {
        const at = graph.toDomXCoord(now);
        canvas.fillStyle = colour("--ink");
        if (at >= area.x && at <= area.x + area.w) canvas.fillRect(at - 1, area.y, 2, area.h);
      }
      canvas.restore();
    };
  }

  function valueAxis(data) {
    if (data.unit === "share") {
      return { valueRange: [-0.02, 1.05], ticker: () => [0, 0.25, 0.5, 0.75, 1].map((v) => ({ v, label: percent(v) })) };
    }
    if (data.unit === "instant") {
      return { valueRange: data.reach, ticker: (low, high, pixels) => axis.ticks(low, high, pixels * 1.6) };
    }
    return { axisLabelFormatter: (value) => String(value).replace("-", "\u2212") };
  }

  function told(data, value) {
    if (data.unit === "share") return percent(value);
    return data.unit === "instant" ? axis.short(value) : `${degrees(value)}\u00a0\u00b0C`;
  }

  function point(id, at, places) {
    const { data } = charts.get(id);
    const when = data.x === "hours" ? `${at.toFixed(1)} h` : axis.short(at);
    for (const place of document.querySelectorAll(`[data-section="${id}"] [data-line]`)) {
      const found = places.find((one) => one.name === place.dataset.line);
      place.textContent = found && Number.isFinite(found.yval) ? `${told(data, found.yval)}, ${when}` : "";
    }
  }

  function clear(id) {
    for (const place of document.querySelectorAll(`[data-section="${id}"] [data-line]`)) place.textContent = "";
  }

  // One finger across moves, down scrolls the page; two come closer, in time only.
  const touches = {
    touchstart(event, graph, context) {
      Dygraph.Interaction.startTouch({ touches: event.touches, preventDefault() {} }, graph, context);
      if (context.touchDirections) context.touchDirections.y = false;
      moving = true;
    },
    touchmove(event, graph, context) {
      if (event.cancelable) event.preventDefault();
      Dygraph.Interaction.moveTouch(event, graph, context);
    },
    touchend(event, graph, context) {
      moving = event.touches.length > 0;
      Dygraph.Interaction.endTouch(event, graph, context);
      if (!moving) kept(graph);
    },
    dblclick(_event, graph) {
      if (graph.linked) show(home);
      else graph.updateOptions({ dateWindow: graph.whole });
    },
  };

  function options(data) {
    return {
      file: data.lines.length ? rows(data.lines) : [[data.window[0]]],
      labels: ["x", ...data.lines.map((line) => line.name)],
      colors: data.lines.map((line) => look(line.look)),
      series: Object.fromEntries(data.lines.map((line) => [line.name, { strokePattern: DASHES[line.look % 4] }])),
      dateWindow: data.linked && span ? span : data.window,
      underlayCallback: underlay(data),
      gridLineColor: colour("--line"),
      axisLineColor: colour("--line"),
      axes: {
        x: { ticker: (begin, end, pixels) => (data.x === "hours" ? hours(begin, end, pixels) : axis.ticks(begin, end, pixels)), axisLabelWidth: 70 },
        y: valueAxis(data),
      },
    };
  }

  function hours(begin, end, pixels) {
    const most = Math.max(2, Math.floor(pixels / 60));
    const step = [0.25, 0.5, 1, 2, 3, 6, 12, 24].find((size) => (end - begin) / size <= most) || 48;
    const found = [];
    for (let at = Math.ceil(begin / step) * step; at <= end; at += step) found.push({ v: at, label: `${at} h` });
    return found;
  }

  function make(data) {
    const plot = document.querySelector(`[data-chart="${data.id}"]`);
    if (!plot || !data.lines.length) return;
    const place = document.createElement("div");
    place.className = "chart";
    place.setAttribute("aria-hidden", "true"); // the legend, the sentence below it and the table say the same in words
    plot.replaceChildren(place);
    const graph = new Dygraph(place, rows(data.lines), {
      ...options(data),
      customBars: true, connectSeparatedPoints: true, strokeWidth: 2, fillAlpha: 0.22, drawPoints: false, highlightCircleSize: 4,
      rightGap: RIGHT, includeZero: false, xRangePad: 0, yRangePad: 12, animatedZooms: false, drawGapEdgePoints: true, pixelsPerLabel: 40,
      axisLabelFontSize: 13, gridLineWidth: 0.4,
      interactionModel: { ...Dygraph.Interaction.defaultModel, ...touches },
      highlightCallback: (_event, at, places) => point(data.id, at, places),
      unhighlightCallback: () => clear(data.id),
      zoomCallback: () => kept(charts.get(data.id).graph),
      drawCallback: (drawn, first) => { if (!first && drawn.linked) follow(drawn); },
    });
    graph.updateOptions({ axes: { y: { axisLabelWidth: LEFT - 6 } } });
    graph.linked = data.linked;
    graph.whole = data.window;
    charts.set(data.id, { graph, data });
  }

  function draw(data) {
    const known = charts.get(data.id);
    const same = known && known.data.lines.map((line) => line.name).join() === data.lines.map((line) => line.name).join();
    if (!same || !data.lines.length) {
      known?.graph.destroy();
      charts.delete(data.id);
      document.querySelector(`[data-chart="${data.id}"]`)?.replaceChildren();
      legend(data);
      return make(data);
    }
    known.data = data;
    const fresh = options(data);
    if (!data.linked) fresh.dateWindow = known.graph.xAxisRange();
    fresh.axes.y.axisLabelWidth = LEFT - 6;
    known.graph.updateOptions(fresh);
  }

  // Which batches there are differs from span to span; the chart and its legend come and go with them.
  function legend(data) {
    const section = document.querySelector(`[data-section="${data.id}"]`);
    let list = section.querySelector(".legend");
    if (!list) {
      list = document.createElement("ul");
      list.className = "legend";
      const plot = document.createElement("div");
      plot.className = "plot";
      plot.dataset.chart = data.id;
      section.querySelector("h2").after(list, plot);
    }
    list.replaceChildren(...data.lines.map((line) => {
      const item = document.createElement("li");
      const swatch = element("svg", { class: "swatch", viewBox: "0 0 32 12", width: 32, height: 12, "aria-hidden": "true" });
      swatch.append(element("line", { class: `line look-${line.look}`, x1: 0, x2: 32, y1: 6, y2: 6 }));
      const name = document.createElement("span");
      name.textContent = line.name;
      const value = document.createElement("b");
      value.dataset.line = line.name;
      item.append(swatch, name, value);
      return item;
    }));
  }

  // --- lanes

  function element(name, attributes) {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    return made;
  }

  function titled(made, text) {
    const title = element("title", {});
    title.textContent = text;
    made.append(title);
    return made;
  }

  function drawLanes() {
    const [begin, end] = span;
    for (const [id, list] of Object.entries(lanes)) {
      list.forEach((lane, n) => {
        const svg = document.querySelector(`[data-lanes="${id}"] [data-lane="${n}"] > svg`);
        if (!svg) return;
        const width = svg.clientWidth - LEFT - RIGHT;
        const place = (at) => LEFT + (width * (Math.min(end, Math.max(begin, at)) - begin)) / (end - begin);
        const shown = lane.spots.filter(([from, to]) => to >= begin && from <= end);
        svg.replaceChildren(...shown.map(([from, to, shape, text, count]) => {
          if (TALL[shape]) {
            const wide = Math.max(2, place(to) - place(from));
            return titled(element("rect", { class: `air ${shape}`, x: place(from), width: wide, y: 24 - TALL[shape], height: TALL[shape] }), text);
          }
          const mark = element("svg", { class: `mark ${shape}`, x: place(from), width: 1, height: 24, overflow: "visible", "data-count": count });
          mark.append(element("path", { d: SHAPES[shape] }));
          return titled(mark, text);
        }));
      });
    }
  }

  // --- the span that is shown

  function follow(drawn) {
    const [begin, end] = drawn.xAxisRange();
    if (span && Math.abs(begin - span[0]) < 1 && Math.abs(end - span[1]) < 1) return;
    span = [begin, end];
    for (const { graph } of charts.values()) if (graph.linked && graph !== drawn) graph.updateOptions({ dateWindow: span });
    drawLanes();
    told_span();
    if (!moving) later();
  }

  function kept(graph) {
    if (graph.linked) later();
  }

  function told_span() {
    document.getElementById("span").textContent = `${axis.whole(span[0])} to ${axis.whole(span[1])}`;
  }

  function later() {
    clearTimeout(settle);
    settle = setTimeout(() => { if (moving) later(); else fetched(span); }, SETTLED);
  }

  function show([begin, end]) {
    const length = Math.min(LONGEST, Math.max(SHORTEST, end - begin));
    const middle = (begin + end) / 2;
    span = [Math.max(0, middle - length / 2), Math.max(length, middle + length / 2)];
    for (const { graph } of charts.values()) if (graph.linked) graph.updateOptions({ dateWindow: span });
    drawLanes();
    told_span();
    fetched(span);
  }

  const stamp = (at) => new Date(Math.round(at / 1000) * 1000).toISOString().replace(".000Z", "Z");

  function query([begin, end]) {
    const wanted = new URLSearchParams(location.search);
    wanted.set("since", stamp(begin));
    wanted.set("until", stamp(Math.max(end, begin + SHORTEST)));
    return wanted;
  }

  const written = (wanted) => wanted.toString().replaceAll("%3A", ":").replaceAll("%2C", ",");

  async function fetched(wanted) {
    const given = wanted ? query(wanted) : new URLSearchParams(location.search);
    if (wanted) {
      history.replaceState(null, "", `/trends?${written(given)}`);
      for (const link of document.querySelectorAll("[data-file]")) link.href = `${link.dataset.file}?${written(given)}`;
      for (const name of ["since", "until"]) document.querySelector(`#choose [name=${name}]`).value = given.get(name);
    }
    given.set("points", Math.round(Math.min(2000, Math.max(200, page.clientWidth))));
    asked?.abort();
    const mine = (asked = new AbortController());
    document.body.classList.add("busy");
    try {
      const answer = await fetch(`/trends/data?${written(given)}`, { signal: mine.signal });
      if (answer.redirected) return location.reload(); // the session is over
      const found = await answer.json();
      if (!answer.ok) throw new Error(found.problem || `The service answered ${answer.status}.`);
      if (!moving) take(found);
      trouble.hidden = true;
    } catch (problem) {
      if (problem.name === "AbortError") return;
      trouble.textContent = problem instanceof TypeError ? "Disconnected: what you see may lack its newest or finer points." : problem.message;
      trouble.hidden = false;
    }
    document.body.classList.remove("busy");
  }

  function take(found) {
    now = found.now;
    span ||= [found.since, found.until];
    home ||= span;
    lanes = found.lanes;
    document.getElementById("grain").textContent = found.grain;
    for (const data of found.charts) draw(data);
    for (const { graph } of charts.values()) graph.resize();
    page.classList.add("drawn");
    drawLanes();
    for (const [id, text] of Object.entries(found.texts)) {
      const place = document.querySelector(`[data-text="${id}"]`);
      if (place) place.textContent = text;
    }
    for (const [id, html] of Object.entries(found.tables)) {
      const place = document.querySelector(`[data-table="${id}"]`);
      place?.replaceChildren(...new DOMParser().parseFromString(html, "text/html").body.childNodes);
    }
    document.body.dataset.shown = `${Math.round(span[0])}-${Math.round(span[1])}`;
  }

  const MOVES = {
    earlier: ([begin, end]) => [begin - (end - begin) / 2, end - (end - begin) / 2],
    later: ([begin, end]) => [begin + (end - begin) / 2, end + (end - begin) / 2],
    closer: ([begin, end]) => [begin + (end - begin) / 4, end - (end - begin) / 4],
    wider: ([begin, end]) => [begin - (end - begin) / 2, end + (end - begin) / 2],
    now: ([begin, end]) => [now - (end - begin), now],
  };
  document.querySelector(".moves").addEventListener("click", (event) => {
    const move = MOVES[event.target.dataset?.do];
    if (!move || !span || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    show(move(span));
  });
  let resized = 0;
  addEventListener("resize", () => {
    clearTimeout(resized);
    resized = setTimeout(() => { if (span) drawLanes(); }, 150);
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    for (const { graph, data } of charts.values()) graph.updateOptions({ colors: data.lines.map((line) => look(line.look)) });
  });
  document.querySelector(".touch").hidden = false;
  fetched(null);
})();
