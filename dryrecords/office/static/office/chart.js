// Lets somebody look closer at a chart: the numbers of its table, drawn by uPlot, which zooms and reads values out.
// Without this script the page lacks nothing but that.
"use strict";

(function () {
  const COLOURS = { ink: "#1d1b16", blue: "#0072b2", red: "#d55e00", green: "#00785a" };
  const DASHES = { long: [9, 5], short: [2, 4], "": [] };
  const SIDES = { f: 3, pct: 1 };
  const HEIGHT = 380;
  const LETTERS = "14px Charter, Georgia, serif";

  function numbersOf(table) {
    const heads = [...table.tHead.rows[0].cells];
    const rows = [...table.tBodies[0].rows];
    const column = (i) => rows.map((row) => {
      const held = row.cells[i].querySelector("data");
      return held ? Number(held.value) : null;
    });
    const drawn = heads.map((head, i) => ({ head, i })).filter(({ head }) => head.dataset.scale);
    return { heads: drawn.map(({ head }) => head), columns: [column(0), ...drawn.map(({ i }) => column(i))] };
  }

  // Marks as in the drawing, so that series are told apart without their colour.
  function marks(shape) {
    return function (u, series, first, last, filtered) {
      const path = new Path2D();
      const size = 4.5 * devicePixelRatio;
      const scale = u.series[series].scale;
      for (let i = first; i <= last; i++) {
        const value = u.data[series][i];
        if (value === null || value === undefined) continue;
        const x = u.valToPos(u.data[0][i], "x", true), y = u.valToPos(value, scale, true);
        if (shape === "circle") { path.moveTo(x + size, y); path.arc(x, y, size, 0, 2 * Math.PI); }
        if (shape === "square") path.rect(x - size, y - size, 2 * size, 2 * size);
        if (shape === "triangle") { path.moveTo(x, y - size); path.lineTo(x + size, y + size); path.lineTo(x - size, y + size); path.closePath(); }
        if (shape === "diamond") { path.moveTo(x, y - size); path.lineTo(x + size, y); path.lineTo(x, y + size); path.lineTo(x - size, y); path.closePath(); }
      }
      return { stroke: null, fill: path, flags: 3 };
    };
  }

  function seriesOf(head) {
    const colour = COLOURS[head.dataset.colour], mark = head.dataset.mark, dash = head.dataset.dash;
    return {
      label: head.textContent, scale: head.dataset.scale, stroke: colour, width: dash === "none" ? 0 : 2, dash: DASHES[dash],
      spanGaps: true, points: { show: mark !== "", fill: colour, paths: mark ? marks(mark) : undefined },
      value: (u, value) => (value === null || value === undefined ? "—" : value.toFixed(1)),
    };
  }

  function axis(more) {
    return { stroke: COLOURS.ink, font: LETTERS, labelFont: LETTERS, ...more };
  }

  function draw(figure, place) {
    const { heads, columns } = numbersOf(figure.querySelector("table"));
    const scales = [...new Set(heads.map((head) => head.dataset.scale))];
    return new uPlot({
      width: place.clientWidth, height: HEIGHT, scales: { x: { time: false } },
      series: [{ label: "Hour", value: (u, value) => (value === null ? "—" : value.toFixed(2)) }, ...heads.map(seriesOf)],
      axes: [axis({ label: "hours since the batch began" }),
        ...scales.map((scale) => axis({ scale, side: SIDES[scale], label: scale === "f" ? "°F" : "% moisture", grid: { show: scale === scales[0] } }))],
    }, columns, place);
  }

  for (const figure of document.querySelectorAll("figure[data-along]")) {
    const drawn = figure.querySelector(".drawn");
    if (!drawn || !window.uPlot) continue;
    const button = document.createElement("button"), place = document.createElement("div");
    let plot = null;
    button.type = "button";
    button.className = "quiet closer";
    button.textContent = "Look closer";
    place.hidden = true;
    button.addEventListener("click", () => {
      place.hidden = !place.hidden;
      drawn.hidden = !place.hidden;
      button.textContent = place.hidden ? "Look closer" : "Back to the drawing";
      plot = plot || draw(figure, place);
    });
    drawn.after(place, button);
    addEventListener("resize", () => plot && !place.hidden && plot.setSize({ width: place.clientWidth, height: HEIGHT }));
  }
})();
