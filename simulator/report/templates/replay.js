// The days of two sets replayed side by side on one clock, whose cursor also runs through the lanes of every day.
(() => {
  "use strict";
  const box = document.getElementById("replay"), source = document.getElementById("replay-data");
  if (!source || !box) return;
  const data = JSON.parse(source.textContent);
  const byId = (id) => document.getElementById("replay-" + id);
  const scrub = byId("scrub"), playButton = byId("play"), speed = byId("speed"), zoom = byId("zoom");
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  const begin = Math.min(...data.records.map((day) => day.day_start_s));
  const until = Math.max(...data.records.map((day) => day.day_start_s + day.end_s));
  let now = begin, playing = false, last = 0, timer = 0;

  const clock = (seconds) => {
    const whole = Math.floor(seconds + 1e-6) % 86400, two = (value) => String(Math.floor(value)).padStart(2, "0");
    return two(whole / 3600) + ":" + two((whole / 60) % 60) + ":" + two(whole % 60);
  };

  // --- views: the second begins empty on a narrow screen ---
  const views = [...box.querySelectorAll(".view")].slice(0, data.records.length).map((root, number) => {
    const view = makeView(data, root), set = root.querySelector(".set"), body = root.querySelector(".body");
    root.hidden = false;
    if (number) set.append(new Option("none", ""));
    data.records.forEach((day, place) => set.append(new Option(day.equipment_set, String(place))));
    set.value = number ? (window.matchMedia("(min-width: 50rem)").matches ? "1" : "") : "0";
    const shown = { show: (everything) => { if (!body.hidden) view.show(now, everything); } };
    const choose = () => {
      body.hidden = set.value === "";
      if (!body.hidden) view.choose(Number(set.value));
    };
    choose();
    set.addEventListener("change", () => { choose(); shown.show(true); });
    root.querySelector(".where").addEventListener("change", () => shown.show(true));
    if (window.ResizeObserver) new ResizeObserver(() => shown.show(true)).observe(root.querySelector(".map"));
    return shown;
  });

  // --- lanes: what is clipped to the plot goes into one group that zooms; words along the clock move ---
  const SVG = "http://www.w3.org/2000/svg";
  const lanes = [...document.querySelectorAll("svg[data-clock]")].map((svg) => {
    const [x0, x1, y0, y1, from, to] = svg.dataset.clock.split(" ").map(Number);
    const make = (name, attributes, parent) => {
      const node = document.createElementNS(SVG, name);
      Object.entries(attributes).forEach(([key, value]) => node.setAttribute(key, value));
      return parent.appendChild(node);
    };
    const clipped = [...svg.querySelectorAll("[clip-path]")];
    const frame = document.createElementNS(SVG, "g");
    clipped[0].parentNode.insertBefore(frame, clipped[0]);
    frame.setAttribute("clip-path", clipped[0].getAttribute("clip-path"));
    const inner = make("g", {}, frame);
    clipped.forEach((node) => { node.removeAttribute("clip-path"); inner.append(node); });
    const words = [...svg.querySelectorAll("text, use")].map((node) => ({ node, x: Number(node.getAttribute("x")) }))
      .filter(({ node, x }) => x > x0 + 0.5 && x < x1 + 0.5 && Number(node.getAttribute("y")) < y1 + 16);
    const cursor = make("line", { y1: y0, y2: y1, class: "cursor" }, svg);
    svg.addEventListener("pointerdown", (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      if (point.x < x0 || point.x > x1 || point.y > y1) return;
      const [left, span] = seen(from, to);
      go(left + ((point.x - x0) / (x1 - x0)) * span);
    });
    return () => {
      const [left, span] = seen(from, to), scale = (to - from) / span;
      const at = (x) => x0 + (x - x0 - ((left - from) / (to - from)) * (x1 - x0)) * scale;
      inner.setAttribute("transform", "translate(" + (at(x0) - x0 * scale) + " 0) scale(" + scale + " 1)");
      words.forEach(({ node, x }) => {
        node.setAttribute("x", at(x));
        node.style.visibility = at(x) < x0 - 1 || at(x) > x1 + 1 ? "hidden" : "";
      });
      const x = Math.max(x0, Math.min(x1, x0 + ((now - left) / span) * (x1 - x0)));
      cursor.setAttribute("x1", x);
      cursor.setAttribute("x2", x);
    };
  });
  // First second and length of what the lanes show: all, or some hours about the cursor.
  const seen = (from, to) => {
    const span = Math.min(to - from, Number(zoom.value) * 3600 || Infinity);
    return [Math.max(from, Math.min(to - span, now - span / 2)), span];
  };

  // --- time ---
  let drawn = 0;
  const show = (everything) => {
    views.forEach((view) => view.show(everything));
    const tick = performance.now();
    if (!everything && tick - drawn < 120) return;
    drawn = tick;
    lanes.forEach((draw) => draw());
    byId("clock").textContent = clock(now);
    scrub.value = String(now);
    scrub.setAttribute("aria-valuetext", clock(now));
    box.dataset.timeS = now.toFixed(1);
  };
  const go = (time) => { now = Math.max(begin, Math.min(until, time)); show(true); };
  const setPlaying = (on) => {
    playing = on;
    playButton.textContent = on ? "Pause" : "Play";
    playButton.setAttribute("aria-pressed", String(on));
    window.clearInterval(timer);
    if (!on) { show(true); return; }
    if (now >= until) now = begin;
    if (calm.matches) {
      timer = window.setInterval(() => step(1), 1000);
    } else {
      last = performance.now();
      window.requestAnimationFrame(frame);
    }
  };
  const step = (seconds) => {
    now = Math.min(until, now + seconds * Number(speed.value));
    show(calm.matches);
    if (now >= until) setPlaying(false);
  };
  const frame = (tick) => {
    if (!playing || calm.matches) return;
    step(Math.min(0.25, Math.max(0, (tick - last) / 1000)));
    last = tick;
    if (playing) window.requestAnimationFrame(frame);
  };

  playButton.addEventListener("click", () => setPlaying(!playing));
  byId("back").addEventListener("click", () => go(now - 300));
  byId("on").addEventListener("click", () => go(now + 300));
  scrub.addEventListener("input", () => go(Number(scrub.value)));
  zoom.addEventListener("change", () => show(true));
  scrub.min = String(Math.floor(begin));
  scrub.max = String(Math.ceil(until));
  box.hidden = byId("bar").hidden = false;
  const first = Math.min(...data.records.map((day) => day.day_start_s + (day.sorties.length ? day.sorties[0].start_s : 0)));
  go(first + 1800);
})();
