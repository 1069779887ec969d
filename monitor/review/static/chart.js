// Draws each chart description of the page: <figure data-chart="URL or #id"></figure>, and lets
// the reader come closer: buttons (phone, keyboard), the wheel with Ctrl or Shift, dragging.
// Works under a policy of script-src 'self' and style-src 'self': expressions are interpreted
// (ast: true), nothing is compiled, and the tooltip's styles come from chart.css.
"use strict";
(() => {
  const LEFT_AND_NAMES_PX = 126; // scale on the left, names on the right, padding
  const LEAST_PX = 200;
  const LEAST_MS = 10 * 60 * 1000;

  function fitted(spec, figure) {
    const wide = Math.max(Math.floor(figure.clientWidth) - LEFT_AND_NAMES_PX, LEAST_PX);
    for (const panel of spec.vconcat) panel.width = wide;
    return spec;
  }

  async function description(where) {
    if (where.startsWith("#")) return JSON.parse(document.querySelector(where).textContent);
    const answer = await fetch(where, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error(`its figures did not come (${answer.status})`);
    return answer.json();
  }

  // The span shown, kept within the whole.
  class Span {
    constructor(view, spec) {
      this.view = view;
      [this.first, this.last] = spec.usermeta.whole;
      [this.from, this.to] = [this.first, this.last];
    }
    whole() {
      this.show(this.first, this.last);
    }
    show(from, to) {
      const long = Math.min(Math.max(to - from, LEAST_MS), this.last - this.first);
      const begin = Math.min(Math.max(from, this.first), this.last - long);
      [this.from, this.to] = [begin, begin + long];
      this.view.signal("span", [this.from, this.to]).runAsync();
    }
    zoom(factor, where = 0.5) {
      const long = (this.to - this.from) * factor;
      const begin = this.from + (this.to - this.from) * where - long * where;
      this.show(begin, begin + long);
    }
    move(share) {
      const by = (this.to - this.from) * share;
      this.show(this.from + by, this.to + by);
    }
  }

  function buttons(span) {
    const bar = document.createElement("div");
    bar.className = "chart-buttons";
    const acts = [
      ["Closer", () => span.zoom(0.5)],
      ["Wider", () => span.zoom(2)],
      ["Earlier", () => span.move(-0.4)],
      ["Later", () => span.move(0.4)],
      ["All", () => span.whole()],
    ];
    for (const [name, act] of acts) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = name;
      button.addEventListener("click", act);
      bar.append(button);
    }
    return bar;
  }

  function pointing(figure, span, wide) {
    const left = () => figure.querySelector("canvas").getBoundingClientRect().left + 40;
    figure.addEventListener(
      "wheel",
      (event) => {
        if (!event.ctrlKey && !event.shiftKey) return; // a plain wheel scrolls the page
        event.preventDefault();
        const way = event.deltaY || event.deltaX;
        span.zoom(way > 0 ? 1.25 : 0.8, (event.clientX - left()) / wide);
      },
      { passive: false },
    );
    let held = null;
    figure.addEventListener("pointerdown", (event) => {
      if (event.target.tagName === "CANVAS") held = event.clientX;
    });
    window.addEventListener("pointermove", (event) => {
      if (held === null) return;
      span.move((held - event.clientX) / wide);
      held = event.clientX;
    });
    for (const end of ["pointerup", "pointercancel"]) {
      window.addEventListener(end, () => (held = null));
    }
  }

  async function draw(figure) {
    try {
      const spec = fitted(await description(figure.dataset.chart), figure);
      const place = document.createElement("div");
      figure.replaceChildren(place);
      const { view } = await vegaEmbed(place, spec, {
        ast: true,
        actions: false,
        logLevel: 1, // errors only
        renderer: "canvas",
        defaultStyle: false,
        tooltip: { disableDefaultStyle: true },
      });
      const span = new Span(view, spec);
      figure.prepend(buttons(span));
      pointing(figure, span, spec.vconcat[0].width);
      figure.dataset.drawn = "yes";
    } catch (fault) {
      figure.dataset.drawn = "no";
      figure.append(`The picture could not be drawn: ${fault.message}.`);
    }
  }

  document.querySelectorAll("[data-chart]").forEach(draw);
})();
