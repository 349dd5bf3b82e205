"use strict";
(() => {
  let specs = {};
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

  // --- keyboard: the arrow keys step through what a chart shows and read it out. Marks have words of their own; where
  // there are too many of them, as along a line, the rows of the table below are read instead. ----------------------
  const rowsOf = (figure) => {
    const table = figure.querySelector("details table");
    const heads = [...table.tHead.rows[0].cells].map((cell) => cell.textContent.trim());
    return [...table.tBodies[0].rows].map((row) => [...row.cells]
      .map((cell, place) => `${heads[place]}: ${cell.textContent.trim()}`).join("; "));
  };
  function steps(plot, readout) {
    let at = -1;
    plot.addEventListener("keydown", (event) => {
      const move = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
      if (event.key === "Escape") { at = -1; readout.textContent = ""; clear(plot); return; }
      if (!move) return;
      const marks = [...plot.querySelectorAll('.role-mark [aria-label], .role-mark[aria-label]')];
      const words = marks.length ? marks.map((one) => one.getAttribute("aria-label")) : rowsOf(plot.closest("figure"));
      if (!words.length) return;
      event.preventDefault();
      at = (at + move + words.length) % words.length;
      clear(plot);
      if (marks.length) {
        marks[at].classList.add("here");
        marks[at].style.outline = "2px solid var(--accent)";
      }
      readout.textContent = `${at + 1} of ${words.length}: ${words[at]}`;
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

  // A saved picture stands alone: title, what the signs mean, legend, whose it is.
  const SVG = "http://www.w3.org/2000/svg";
  const PAD = 20;
  function element(name, attributes, text) {
    const made = document.createElementNS(SVG, name);
    Object.entries(attributes).forEach(([key, value]) => made.setAttribute(key, value));
    if (text) made.textContent = text;
    return made;
  }
  const pen = document.createElement("canvas").getContext("2d");
  function folded(text, font, width) {
    pen.font = font;
    const lines = [""];
    for (const word of text.split(" ")) {
      const longer = lines[lines.length - 1] ? `${lines[lines.length - 1]} ${word}` : word;
      if (pen.measureText(longer).width > width && lines[lines.length - 1]) lines.push(word);
      else lines[lines.length - 1] = longer;
    }
    return lines;
  }
  function svg(figure) {
    const style = getComputedStyle(root);
    const family = getComputedStyle(document.body).fontFamily;
    const drawing = figure.querySelector(".plot svg").cloneNode(true);
    const width = drawing.width.baseVal.value, height = drawing.height.baseVal.value;
    const whole = element("svg", { xmlns: SVG, "font-family": family });
    whole.append(document.getElementById("patterns").cloneNode(true));
    let y = PAD;
    const write = (text, size, weight, colour) => {
      for (const line of text ? folded(text, `${weight} ${size}px ${family}`, width) : []) {
        y += size * 1.35;
        whole.append(element("text", { x: PAD, y: y - size * 0.3, "font-size": size, "font-weight": weight, fill: colour }, line));
      }
    };
    const caption = figure.querySelector("figcaption");
    const note = caption.querySelector(".note");
    write(caption.querySelector("h3").textContent.trim(), 17, 600, "var(--ink)");
    write(note ? note.textContent.trim() : "", 12.5, 400, "var(--soft)");
    write(figure.dataset.says, 12.5, 400, "var(--soft)");
    y += 8;
    const legend = figure.querySelector(".legend") || figure.closest(".block").querySelector(":scope > .legend");
    let x = PAD;
    for (const item of legend ? legend.querySelectorAll(".item") : []) {
      const words = item.textContent.trim();
      pen.font = `400 12.5px ${family}`;
      const wide = pen.measureText(words).width + 44;
      if (x + wide > width + PAD && x > PAD) { x = PAD; y += 20; }
      const swatch = item.querySelector("svg").cloneNode(true);
      swatch.setAttribute("x", x);
      swatch.setAttribute("y", y);
      const faded = item.getAttribute("aria-pressed") === "false" ? 0.35 : 1;
      swatch.setAttribute("opacity", faded);
      whole.append(swatch, element("text", { x: x + 32, y: y + 11, "font-size": 12.5, fill: "var(--ink)", opacity: faded }, words));
      x += wide;
    }
    if (legend) y += 26;
    drawing.setAttribute("x", PAD);
    drawing.setAttribute("y", y);
    whole.append(drawing);
    y += height + 4;
    write(document.body.dataset.stamp, 12, 400, "var(--soft)");
    y += PAD * 0.7;
    whole.setAttribute("width", width + 2 * PAD);
    whole.setAttribute("height", Math.ceil(y));
    whole.setAttribute("viewBox", `0 0 ${width + 2 * PAD} ${Math.ceil(y)}`);
    whole.prepend(element("rect", { width: "100%", height: "100%", fill: "var(--card)" }));
    return new XMLSerializer().serializeToString(whole)
      .replace(/var\((--[a-z0-9-]+)\)/g, (_, name) => style.getPropertyValue(name).trim());
  }

  document.addEventListener("click", (event) => {
    const what = event.target.dataset && event.target.dataset.save;
    const figure = what && event.target.closest("figure");
    if (!figure) return;
    if (what === "csv") save(`${figure.dataset.key}.csv`, csv(figure.querySelector("table")), "text/csv");
    else save(`${figure.dataset.key}.svg`, svg(figure), "image/svg+xml");
  });

  // --- print: drawn anew at the paper's width, so that no letter shrinks ---------------------------------------------
  const PAPER = 620;
  window.addEventListener("beforeprint", () => drawn.forEach((view) => view.width(PAPER).run()));
  // Back to what the page gives: each chart listens to the window and measures its place anew.
  window.addEventListener("afterprint", () => window.dispatchEvent(new Event("resize")));

  // --- unpack, then one after the other, so that the page answers while it draws ------------------------------------
  async function unpack(id) {
    const bytes = Uint8Array.from(atob(document.getElementById(id).textContent.trim()), (one) => one.charCodeAt(0));
    return new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"))).text();
  }
  function standStill() {
    document.querySelectorAll(".plot noscript").forEach((one) => { one.parentElement.innerHTML = one.textContent; });
    document.querySelectorAll(".tools, .legend").forEach((one) => { if (one.closest("figure, .block")) one.hidden = true; });
  }
  (async () => {
    const figures = document.querySelectorAll("figure[data-key]");
    if (figures.length) {
      try {
        specs = JSON.parse(await unpack("packed-specs"));
        const library = document.createElement("script");
        library.textContent = await unpack("packed-library");
        document.head.append(library);
      } catch (error) {
        // A browser that cannot unpack shows the still pictures, as one without JavaScript does.
        standStill();
        throw error;
      }
      for (const figure of figures) await draw(figure);
    }
    root.dataset.ready = "yes";
  })();
})();
