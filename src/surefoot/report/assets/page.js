"use strict";
(() => {
  const specs = JSON.parse(document.getElementById("specs").textContent);
  const root = document.documentElement;
  const drawn = new Map();

  // --- theme: the charts are drawn in CSS variables, so that a change of theme needs no new drawing ---------------
  const prefersDark = window.matchMedia("(prefers-color-scheme: dark)");
  const toggle = document.getElementById("theme");
  const isDark = () => (root.dataset.theme ? root.dataset.theme === "dark" : prefersDark.matches);
  const say = () => {
    toggle.textContent = isDark() ? "Light page" : "Dark page";
    toggle.setAttribute("aria-pressed", String(isDark()));
  };
  toggle.hidden = false;
  toggle.addEventListener("click", () => {
    root.dataset.theme = isDark() ? "light" : "dark";
    say();
  });
  prefersDark.addEventListener("change", say);
  say();

  // --- charts ----------------------------------------------------------------------------------------------------
  const options = {
    mode: "vega-lite", renderer: "svg", actions: false, ast: true, defaultStyle: false,
    tooltip: { disableDefaultStyle: true, theme: "surefoot", offsetX: 12, offsetY: 12 },
  };

  async function draw(figure) {
    const key = figure.dataset.key;
    const plot = figure.querySelector(".plot");
    try {
      const result = await window.vegaEmbed(plot, specs[key], options);
      drawn.set(key, result.view);
      plot.dataset.drawn = "yes";
      steps(plot, figure.querySelector(".readout"));
      tools(figure, result.view);
    } catch (error) {
      plot.textContent = "This chart could not be drawn; its data table below holds the same numbers.";
      throw error;
    }
  }

  const peers = (figure) => {
    const group = figure.closest(".grouped");
    const figures = group ? [...group.querySelectorAll("figure[data-key]")] : [figure];
    return figures.map((one) => drawn.get(one.dataset.key)).filter(Boolean);
  };

  // --- legend: real buttons, so that the keyboard and a screen reader reach them ------------------------------------
  document.querySelectorAll(".legend button").forEach((button) => {
    button.addEventListener("click", () => {
      button.setAttribute("aria-pressed", String(button.getAttribute("aria-pressed") !== "true"));
      const legend = button.closest(".legend");
      const off = [...legend.querySelectorAll('button[aria-pressed="false"]')].map((one) => one.dataset.value);
      const home = legend.closest(".grouped") || legend.closest("figure");
      const figures = home.matches("figure") ? [home] : [...home.querySelectorAll("figure[data-key]")];
      figures.forEach((figure) => {
        const view = drawn.get(figure.dataset.key);
        if (view && "hidden" in view.getState({ signals: () => true }).signals) view.signal("hidden", off).runAsync();
      });
    });
  });

  // --- zoom: by buttons here, by Shift and the wheel or by dragging in the chart; charts of a group move together -----
  const zoomSignal = (view) => Object.keys(view.getState({ signals: () => true }).signals)
    .find((name) => name.startsWith("zoom_") && !/_(x|y|tuple|tuple_fields|translate_anchor|translate_delta|zoom_anchor|zoom_delta|modify)$/.test(name));

  function zoomTo(figure, domain) {
    peers(figure).forEach((view) => {
      const name = zoomSignal(view);
      if (name) view.signal(name, domain).runAsync();
    });
  }

  function tools(figure, view) {
    const bar = figure.querySelector(".tools");
    if (!bar || !zoomSignal(view)) return;
    bar.hidden = false;
    const whole = view.scale("x").domain().slice();
    bar.addEventListener("click", (event) => {
      const act = event.target.dataset.zoom;
      if (!act) return;
      if (act === "all") return zoomTo(figure, null);
      const [low, high] = view.scale("x").domain();
      const middle = (low + high) / 2;
      const half = ((high - low) / 2) * (act === "in" ? 0.6 : 1 / 0.6);
      zoomTo(figure, [Math.max(whole[0], middle - half), Math.min(whole[1], middle + half)]);
    });
    const name = zoomSignal(view);
    let settled = null;
    view.addSignalListener(name, (_, domain) => {
      const key = JSON.stringify(domain);
      if (key === settled) return;
      settled = key;
      peers(figure).forEach((other) => {
        const theirs = other !== view && zoomSignal(other);
        if (theirs && JSON.stringify(other.signal(theirs)) !== key) other.signal(theirs, domain).runAsync();
      });
    });
  }

  // --- keyboard: the arrow keys step through the marks of a chart and read each out ----------------------------------
  function steps(plot, readout) {
    let at = -1;
    plot.addEventListener("keydown", (event) => {
      const move = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
      if (event.key === "Escape") { at = -1; readout.textContent = ""; clear(plot); return; }
      if (!move) return;
      const marks = [...plot.querySelectorAll('.role-mark [aria-label], .role-mark[aria-label]')];
      if (!marks.length) return;
      event.preventDefault();
      at = (at + move + marks.length) % marks.length;
      clear(plot);
      marks[at].classList.add("here");
      marks[at].style.outline = "2px solid var(--accent)";
      readout.textContent = `${at + 1} of ${marks.length}: ${marks[at].getAttribute("aria-label")}`;
    });
    plot.addEventListener("blur", () => clear(plot));
  }
  const clear = (plot) => plot.querySelectorAll(".here").forEach((one) => {
    one.classList.remove("here");
    one.style.outline = "";
  });

  // --- saving: a table as CSV, a chart as SVG with its colours written in --------------------------------------------
  function save(name, text, type) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type }));
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  }
  const quoted = (text) => (/[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  const csv = (table) => [...table.rows]
    .map((row) => [...row.cells].map((cell) => quoted(cell.textContent.trim())).join(",")).join("\r\n") + "\r\n";

  function svg(plot) {
    const style = getComputedStyle(root);
    const copy = plot.querySelector("svg").cloneNode(true);
    copy.prepend(document.getElementById("patterns").cloneNode(true));
    copy.setAttribute("xmlns", "http://www.w3.org/2000/svg");
    copy.style.background = style.getPropertyValue("--card").trim();
    return new XMLSerializer().serializeToString(copy)
      .replace(/var\((--[a-z0-9-]+)\)/g, (_, name) => style.getPropertyValue(name).trim());
  }

  document.addEventListener("click", (event) => {
    const what = event.target.dataset && event.target.dataset.save;
    const figure = what && event.target.closest("figure");
    if (!figure) return;
    if (what === "csv") save(`${figure.dataset.key}.csv`, csv(figure.querySelector("table")), "text/csv");
    else save(`${figure.dataset.key}.svg`, svg(figure.querySelector(".plot")), "image/svg+xml");
  });

  // --- one after the other, so that the page answers while it draws -----------------------------------------------
  (async () => {
    for (const figure of document.querySelectorAll("figure[data-key]")) await draw(figure);
    root.dataset.ready = "yes";
  })();
})();
