"use strict";
// Draws the plots from their descriptions (interactive.py) and changes the units of the page.

(function () {
  const plots = JSON.parse(document.getElementById("plots").textContent);
  const config = {
    responsive: true, displaylogo: false, scrollZoom: false,
    modeBarButtons: [["toImage", "zoom2d", "pan2d", "zoomIn2d", "zoomOut2d", "resetScale2d"]],
  };
  // A finger that moves over a plot scrolls the page; a mouse draws a frame to look closer.
  const byFinger = window.matchMedia("(pointer: coarse)").matches;
  if (byFinger) config.displayModeBar = false;
  const hidden = {};

  function way() {
    return document.getElementById("imperial").checked ? 1 : 0;
  }

  function converted(values, convert) {
    return way() === 0 ? values : values.map((value) => (value === null ? null : convert[0] * value + convert[1]));
  }

  function data(plot) {
    return plot.traces.map(function (part, index) {
      const drawn = JSON.parse(JSON.stringify(plot.data[index]));
      drawn.x = converted(part.x, plot.axes.x);
      drawn.y = converted(part.y, plot.axes[part.axis]);
      if (part.hover) drawn.hovertemplate = part.hover[way()];
      if (part.text) drawn.text = part.text[way()];
      // A spread is a difference: it is scaled, not shifted.
      if (part.error) drawn.error_x.array = converted(part.error, [plot.axes.x[0], 0]);
      if (part.shade) {
        drawn.marker.color = converted(part.shade, part.shade_convert);
        [drawn.marker.cmin, drawn.marker.cmax] = converted(part.shade_limits, part.shade_convert);
        drawn.marker.colorbar.title.text = part.shade_title[way()];
        if (plot.aspect !== null) {
          drawn.marker.colorbar.y = -66 / (330 + fitted(plot));
          if (width(plot) < 500) {
            drawn.marker.colorbar.tick0 = 0;
            drawn.marker.colorbar.dtick = step(drawn.marker.cmax);
          }
        }
      }
      drawn.visible = !(hidden[plot.id] || {})[index];
      return drawn;
    });
  }

  function layout(plot) {
    const made = JSON.parse(JSON.stringify(plot.layout));
    made.xaxis.title.text = plot.titles[0][way()];
    made.annotations.forEach(function (note, index) {
      note.text = plot.titles[index + 1][way()];
    });
    if (byFinger) made.dragmode = false;
    if (plot.aspect !== null) made.height += fitted(plot);
    return made;
  }

  // A round step that leaves room for the numbers on a narrow bar: at most three of them.
  function step(most) {
    const ten = Math.pow(10, Math.floor(Math.log10(Math.max(most, 1))));
    return [0.4, 0.5, 1, 2, 2.5, 4, 5].map((part) => part * ten).find((size) => most / size < 3.5);
  }

  function width(plot) {
    return document.getElementById("plot-" + plot.id).clientWidth || 900;
  }

  // How much higher than usual a plot with one scale must be, so that its content fills it.
  function fitted(plot) {
    const wide = Math.max(200, width(plot) - 90);
    return Math.round(Math.min(480, Math.max(190, 1.12 * plot.aspect * wide))) - 330;
  }

  function draw(plot) {
    const place = document.getElementById("plot-" + plot.id);
    place.setAttribute("aria-label", place.dataset[way() ? "imperial" : "metric"]);
    return Plotly.react(place, data(plot), layout(plot), config);
  }

  function drawAll() {
    document.body.className = way() ? "imperial" : "metric";
    plots.forEach(draw);
  }

  document.querySelectorAll("input[name=units]").forEach((choice) => choice.addEventListener("change", drawAll));
  document.querySelectorAll("button[data-plot]").forEach(function (button) {
    button.addEventListener("click", function () {
      const plot = plots.find((one) => one.id === button.dataset.plot);
      const index = Number(button.dataset.trace);
      hidden[plot.id] = hidden[plot.id] || {};
      hidden[plot.id][index] = !hidden[plot.id][index];
      button.setAttribute("aria-pressed", String(!hidden[plot.id][index]));
      draw(plot);
    });
  });

  // On paper plots have one size, and what is folded away is shown.
  const opened = [];
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details:not([open])").forEach(function (one) {
      one.open = true;
      opened.push(one);
    });
    plots.forEach(function (plot) {
      const size = { width: 660, height: Math.round(0.6 * plot.layout.height), autosize: false };
      Plotly.relayout(document.getElementById("plot-" + plot.id), size);
    });
  });
  window.addEventListener("afterprint", function () {
    opened.splice(0).forEach((one) => (one.open = false));
    plots.forEach(function (plot) {
      const place = document.getElementById("plot-" + plot.id);
      Plotly.relayout(place, { width: null, height: plot.layout.height, autosize: true }).then(() => Plotly.Plots.resize(place));
    });
  });

  drawAll();
})();
