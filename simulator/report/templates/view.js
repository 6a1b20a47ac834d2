// One equipment set's day at a chosen time: the map with rigs, aircraft and sprayed swaths, and what everybody does.
// Reads only the record that it is given; foreign texts reach the page as text, never as markup.
const makeView = (data, root) => {
  "use strict";
  const part = (name) => root.querySelector("." + name);
  const map = part("map");
  const INK = "#22282b", QUIET = "#4b5459", SOIL = "#f0ead9", PAPER = "#ffffff", RUST = "#b8401c";
  const SPRAYED = ["#46a58e", "#3b56a5"];
  const YARD = -1;
  let day = null, now = 0, listed = 0;

  // Last row that starts at or before a time; rows are in order of their start.
  const latest = (rows, time, start = (row) => row[0]) => {
    let low = 0, high = rows.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (start(rows[middle]) <= time) low = middle + 1; else high = middle;
    }
    return low - 1;
  };
  const during = (rows, time) => {
    const place = latest(rows, time);
    return place >= 0 && time < rows[place][1] ? rows[place] : null;
  };

  const spot = (place) => (place === YARD ? day.yard_m : day.fields[place].zone_m);

  const prepare = (record) => {
    if (record.ready) return record;
    const flights = record.aircraft.map(() => []);
    for (const sortie of record.sorties) {
      const { t_s: times, on } = sortie.line;
      let sprayed = 0;
      sortie.sprayed = times.map((time, k) => {
        const before = sprayed;
        if (on[k] === "1" && k + 1 < times.length) sprayed += times[k + 1] - time;
        return before;
      });
      sortie.whole = sprayed || 1;
      flights[sortie.aircraft].push(sortie);
    }
    record.flights = flights;
    record.boxes = record.fields.map((field) => {
      const bounds = [Infinity, Infinity, -Infinity, -Infinity];
      for (const ring of field.rings) for (const [x, y] of ring) grow(bounds, x, y);
      grow(bounds, ...field.zone_m);
      return bounds;
    });
    record.people.forEach((person) => person.tasks.sort((a, b) => a[0] - b[0]));
    record.ready = true;
    return record;
  };

  function grow(bounds, x, y) {
    bounds[0] = Math.min(bounds[0], x); bounds[1] = Math.min(bounds[1], y);
    bounds[2] = Math.max(bounds[2], x); bounds[3] = Math.max(bounds[3], y);
  }

  const rigAt = (rig, time) => {
    const place = latest(rig.moves, time);
    if (place < 0) return { from: YARD, to: YARD, share: 0, doing: "yard" };
    const [start, end, doing, from, to] = rig.moves[place];
    if (time >= end) return { from: to, to, share: 0, doing: "" };
    return { from, to, share: (time - start) / (end - start), doing };
  };
  const rigPoint = (rig, time) => {
    const at = rigAt(rig, time), a = spot(at.from), b = spot(at.to);
    return [a[0] + (b[0] - a[0]) * at.share, a[1] + (b[1] - a[1]) * at.share];
  };
  const flightAt = (aircraft, time) => {
    const flights = day.flights[aircraft];
    const place = latest(flights, time, (sortie) => sortie.start_s);
    return place >= 0 && time < flights[place].end_s ? flights[place] : null;
  };
  const along = (sortie, time) => {
    const { t_s: t, x_m: x, y_m: y } = sortie.line;
    const into = time - sortie.start_s;
    const k = Math.max(0, Math.min(t.length - 2, latest(t, into, (value) => value)));
    const share = t[k + 1] > t[k] ? Math.min(1, (into - t[k]) / (t[k + 1] - t[k])) : 0;
    return { k, x: x[k] + (x[k + 1] - x[k]) * share, y: y[k] + (y[k + 1] - y[k]) * share };
  };
  const phase = (sortie, k) => {
    const { on, t_s: t } = sortie.line;
    if (k === 0) return "take-off";
    if (k >= t.length - 2) return "landing";
    if (on[k] === "1") return "spraying";
    return k === 1 ? "flying out" : k === t.length - 3 ? "flying back" : "turning";
  };
  // Share of a flight's area that is sprayed at a time.
  const doneOf = (sortie, time) => {
    if (time >= sortie.end_s) return 1;
    const { k } = along(sortie, time);
    const spraying = sortie.line.on[k] === "1" ? time - sortie.start_s - sortie.line.t_s[k] : 0;
    return Math.min(1, (sortie.sprayed[k] + spraying) / sortie.whole);
  };
  // Latest visit of each field so far, and the share of the field that is sprayed on it.
  const progress = (time) => {
    const visits = new Map(), areas = new Map();
    for (const sortie of day.sorties) {
      if (sortie.start_s > time) break;
      if (sortie.visit > (visits.get(sortie.field) || 0)) { visits.set(sortie.field, sortie.visit); areas.set(sortie.field, 0); }
      if (sortie.visit === visits.get(sortie.field)) areas.set(sortie.field, areas.get(sortie.field) + sortie.area_m2 * doneOf(sortie, time));
    }
    return { visits, share: (place) => (areas.get(place) || 0) / day.fields[place].area_m2 };
  };
  const areaAt = (time) => {
    let area = 0;
    for (const sortie of day.sorties) {
      if (sortie.start_s > time) break;
      area += sortie.area_m2 * doneOf(sortie, time);
    }
    return area * data.area_per_m2;
  };

  // --- map ---
  const paper = (canvas) => {
    const ratio = window.devicePixelRatio || 1;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
      canvas.width = Math.round(width * ratio); canvas.height = Math.round(height * ratio);
    }
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    return { pen, width, height };
  };

  const visibleBox = (time) => {
    const bounds = [Infinity, Infinity, -Infinity, -Infinity];
    const add = (place) => {
      if (place === YARD) { grow(bounds, ...day.yard_m); return; }
      const field = day.boxes[place];
      grow(bounds, field[0], field[1]); grow(bounds, field[2], field[3]);
    };
    const view = part("where").value;
    if (view === "all") {
      const seen = new Set(day.rigs.flatMap((rig) => rig.moves.flatMap((move) => [move[3], move[4]])));
      seen.forEach(add);
      if (!seen.size) day.fields.forEach((_, place) => add(place));
    } else {
      const at = rigAt(day.rigs[Number(view)], time);
      add(at.from); add(at.to);
    }
    const least = 120;
    for (const axis of [0, 1]) {
      const lack = least - (bounds[axis + 2] - bounds[axis]);
      if (lack > 0) { bounds[axis] -= lack / 2; bounds[axis + 2] += lack / 2; }
    }
    return bounds;
  };

  const drawMap = () => {
    const { pen, width, height } = paper(map);
    const bounds = visibleBox(now), rim = 34;
    const scale = Math.min((width - 2 * rim) / (bounds[2] - bounds[0]), (height - 2 * rim) / (bounds[3] - bounds[1]));
    const midX = (bounds[0] + bounds[2]) / 2, midY = (bounds[1] + bounds[3]) / 2;
    const X = (x) => width / 2 + (x - midX) * scale;
    const Y = (y) => height / 2 - (y - midY) * scale;
    pen.fillStyle = PAPER;
    pen.fillRect(0, 0, width, height);
    pen.lineJoin = "round";
    for (const field of day.fields) {
      outline(pen, field, X, Y);
      pen.fillStyle = SOIL;
      pen.fill("evenodd");
    }
    const done = progress(now);
    drawSwaths(pen, X, Y, scale, done.visits);
    day.fields.forEach((field, place) => {
      outline(pen, field, X, Y);
      pen.strokeStyle = QUIET; pen.lineWidth = 1;
      pen.stroke();
      const [left, bottom, right, top] = day.boxes[place];
      const share = done.share(place), name = (right - left) * scale > 46 ? " " + field.name : "";
      const said = share >= 0.995 ? " done" : share > 0 ? " " + Math.floor(100 * share) + " %" : "";
      const room = Math.max(60, (right - left) * scale + 30);
      write(pen, day.numbers[place] + (said && room < 110 ? ":" + said : name + (said && ":" + said)), X((left + right) / 2), Y(top) - 6, room);
      pen.fillStyle = PAPER; pen.strokeStyle = INK; pen.lineWidth = 1;
      pen.beginPath();
      pen.arc(X(field.zone_m[0]), Y(field.zone_m[1]), 3, 0, 7);
      pen.fill(); pen.stroke();
    });
    const [yardX, yardY] = [X(day.yard_m[0]), Y(day.yard_m[1])];
    pen.strokeStyle = INK; pen.lineWidth = 1.5; pen.fillStyle = PAPER;
    pen.beginPath(); pen.rect(yardX - 6, yardY - 6, 12, 12); pen.fill(); pen.stroke();
    write(pen, "yard", yardX, yardY + 18, 60);
    drawRigs(pen, X, Y);
    drawScale(pen, width, height, scale);
  };

  const outline = (pen, field, X, Y) => {
    pen.beginPath();
    for (const ring of field.rings) {
      ring.forEach(([x, y], k) => (k ? pen.lineTo(X(x), Y(y)) : pen.moveTo(X(x), Y(y))));
      pen.closePath();
    }
  };

  const write = (pen, text, x, y, room) => {
    pen.font = "12px 'DejaVu Sans', Verdana, sans-serif";
    pen.textAlign = "center";
    let shown = text;
    while (shown.length > 3 && pen.measureText(shown).width > room) shown = shown.slice(0, -2) + "\u2026";
    pen.lineWidth = 3; pen.strokeStyle = PAPER; pen.strokeText(shown, x, y);
    pen.fillStyle = INK; pen.fillText(shown, x, y);
  };

  const drawSwaths = (pen, X, Y, scale, visits) => {
    for (const sortie of day.sorties) {
      if (sortie.start_s > now) break;
      if (sortie.visit < visits.get(sortie.field)) continue;
      const { t_s: t, x_m: x, y_m: y, on } = sortie.line;
      const flying = now < sortie.end_s;
      const at = flying ? along(sortie, now) : null;
      pen.save();
      outline(pen, day.fields[sortie.field], X, Y);
      pen.clip("evenodd");
      pen.beginPath();
      // where swaths differ, what is sprayed is drawn on the finest one's path, on which nothing is left between
      const cover = sortie.cover;
      let left = cover ? doneOf(sortie, now) * coverLength(cover) : 0;
      for (let k = 0; cover && k < cover.x_m.length && left > 0; k += 2) {
        const [x0, x1] = cover.x_m.slice(k, k + 2), [y0, y1] = cover.y_m.slice(k, k + 2);
        const length = Math.hypot(x1 - x0, y1 - y0), share = length > left ? left / length : 1;
        pen.moveTo(X(x0), Y(y0)); pen.lineTo(X(x0 + (x1 - x0) * share), Y(y0 + (y1 - y0) * share));
        left -= length;
      }
      for (let k = 0; !cover && k < t.length - 1; k += 1) {
        if (on[k] !== "1") continue;
        if (flying && k > at.k) break;
        pen.moveTo(X(x[k]), Y(y[k]));
        if (flying && k === at.k) pen.lineTo(X(at.x), Y(at.y)); else pen.lineTo(X(x[k + 1]), Y(y[k + 1]));
      }
      pen.lineCap = "butt";
      pen.strokeStyle = SPRAYED[(sortie.visit + 1) % 2];
      const swath = cover ? cover.swath_m : sortie.swath_m;
      pen.lineWidth = Math.max(0.8, swath * sortie.passes_in_one * scale - (swath * scale > 5 ? 1 : 0));
      pen.stroke();
      pen.restore();
    }
  };

  const coverLength = ({ x_m: x, y_m: y }) =>
    x.reduce((sum, _, k) => (k % 2 ? sum + Math.hypot(x[k] - x[k - 1], y[k] - y[k - 1]) : sum), 0);

  const drawRigs = (pen, X, Y) => {
    day.rigs.forEach((rig) => {
      const at = rigAt(rig, now);
      const [x, y] = rigPoint(rig, now).map((value, k) => (k ? Y(value) : X(value)));
      if (at.from !== at.to) {
        const a = spot(at.from), b = spot(at.to);
        pen.setLineDash([5, 4]); pen.strokeStyle = RUST; pen.lineWidth = 1.2;
        pen.beginPath(); pen.moveTo(X(a[0]), Y(a[1])); pen.lineTo(X(b[0]), Y(b[1])); pen.stroke();
        pen.setLineDash([]);
      }
      pen.fillStyle = RUST; pen.strokeStyle = PAPER; pen.lineWidth = 1.5;
      pen.beginPath(); pen.rect(x - 9, y - 5, 18, 10); pen.fill(); pen.stroke();
    });
    const parked = new Map();
    day.aircraft.forEach((aircraft, number) => {
      const sortie = flightAt(number, now);
      let x, y;
      if (sortie) {
        const at = along(sortie, now);
        [x, y] = [X(at.x), Y(at.y)];
        const zone = day.fields[sortie.field].zone_m;
        pen.setLineDash([2, 3]); pen.strokeStyle = QUIET; pen.lineWidth = 1;
        pen.beginPath(); pen.moveTo(X(zone[0]), Y(zone[1])); pen.lineTo(x, y); pen.stroke();
        pen.setLineDash([]);
      } else {
        const order = parked.get(aircraft.rig) || 0;
        parked.set(aircraft.rig, order + 1);
        const point = rigPoint(day.rigs[aircraft.rig], now);
        [x, y] = [X(point[0]) - 4 + 15 * order, Y(point[1]) + 15];
      }
      drawAircraft(pen, x, y, Boolean(sortie));
    });
  };

  const drawAircraft = (pen, x, y, flying) => {
    pen.strokeStyle = INK; pen.lineWidth = 2; pen.fillStyle = flying ? PAPER : "#a9b4c6";
    pen.beginPath();
    pen.moveTo(x - 5, y - 5); pen.lineTo(x + 5, y + 5); pen.moveTo(x - 5, y + 5); pen.lineTo(x + 5, y - 5);
    pen.stroke();
    pen.lineWidth = 1.2;
    for (const [dx, dy] of [[-5, -5], [5, -5], [-5, 5], [5, 5]]) {
      pen.beginPath(); pen.arc(x + dx, y + dy, 3, 0, 7); pen.fill(); pen.stroke();
    }
  };

  const drawScale = (pen, width, height, scale) => {
    const room = Math.min(150, width / 3) / scale;
    const [unit, perMetre] = data.scales.find((one) => room * one[1] >= 0.25) || data.scales[1];
    const perUnit = scale / perMetre, most = room * perMetre;
    const power = 10 ** Math.floor(Math.log10(most));
    const length = [5, 2, 1].map((step) => step * power).find((step) => step <= most) || power;
    const right = width - 12, left = right - length * perUnit, y = height - 10;
    pen.strokeStyle = INK; pen.lineWidth = 1.5;
    pen.beginPath(); pen.moveTo(left, y - 5); pen.lineTo(left, y); pen.lineTo(right, y); pen.lineTo(right, y - 5); pen.stroke();
    write(pen, length.toLocaleString("en") + " " + unit, (left + right) / 2, y - 7, 150);
  };

  // --- lists ---
  const rows = (name, entries, gauge) => part(name).replaceChildren(...entries.map((entry) => {
    const item = document.createElement("li"), what = document.createElement("span");
    item.append(entry.name);
    if (gauge) {
      const meter = document.createElement("meter");
      meter.setAttribute("aria-label", entry.name);
      item.append(meter);
    }
    what.className = "what";
    item.append(what);
    return item;
  }));
  const tell = (name, place, text, share) => {
    const item = part(name).children[place], what = item.lastChild;
    if (what.textContent !== text) what.textContent = text;
    if (share !== undefined) item.querySelector("meter").value = share;
  };
  const chargeAt = (pack) => {
    const place = latest(pack.charge, now);
    const [t0, e0] = pack.charge[Math.max(0, place)], next = pack.charge[place + 1];
    return next && next[0] > t0 ? e0 + ((next[1] - e0) * (now - t0)) / (next[0] - t0) : e0;
  };

  const drawLists = () => {
    day.aircraft.forEach((aircraft, number) => {
      const sortie = flightAt(number, now);
      const state = during(aircraft.states, now);
      const text = sortie ? phase(sortie, along(sortie, now).k) + ", " + day.fields[sortie.field].name
        : state ? (state[2] === "wait" ? "waits: " + state[3] : state[3] || state[2]) : "put away";
      tell("aircraft", number, text);
    });
    day.packs.forEach((pack, number) => {
      const state = during(pack.states, now), held = chargeAt(pack) / pack.capacity_wh;
      const charger = day.chargers.find((entry) => entry.sessions.some((session) => session[2] === number && session[0] <= now && now < session[1]));
      const where = charger ? "charging at " + charger.name : state ? packWords(state[2], number) : "put away";
      tell("packs", number, Math.round(100 * held) + " %, " + where, held);
    });
    day.power.forEach((point, number) => {
      const load = during(point.load_kw, now), stop = during(point.stops, now);
      const text = load ? load[2].toFixed(1) + " of " + point.capacity_kw.toFixed(1) + " kW" : "off" + (stop && stop[2] ? ": " + stop[2] : "");
      tell("power", number, text, load ? load[2] / point.capacity_kw : 0);
    });
    day.people.forEach((person, number) => {
      const task = during(person.tasks, now);
      tell("people", number, task ? task[2] + (task[3] ? " (" + task[3] + ")" : "") : "free or watching a flight");
    });
    (day.others || []).forEach((other, number) => {
      const state = during(other.states, now);
      tell("people", day.people.length + number, state ? state[2] : "not in use");
    });
    const area = areaAt(now);
    part("done").textContent = area.toFixed(area < 100 ? 1 : 0) + " " + data.area_unit;
    const held = during(day.bottleneck, now);
    const name = (number) => data.resources[number];
    part("bottleneck").textContent = !held ? "none" : held[2] === held[3] ? name(held[2]) : name(held[2]) + ", passing to " + name(held[3]);
    const layout = day.layout === "invented" ? "The fields are placed for drawing only. " : "";
    const told = (rig) => {
      const { from, to, doing } = rigAt(rig, now);
      const where = from !== to ? "on the road" : from === YARD ? "in the yard" : "at " + day.fields[from].name;
      return rig.name + " is " + where + (doing && !["drive", "yard"].includes(doing) ? ", " + doing : "") + ". ";
    };
    part("place").textContent = layout + day.rigs.slice(0, 3).map(told).join("");
  };
  const packWords = (state, number) => {
    if (state === "flown") {
      const flying = day.sorties.find((sortie) => sortie.pack === number && sortie.start_s <= now && now < sortie.end_s);
      return flying ? "in the air" : "on an aircraft";
    }
    return { cool: "cooling", queue: "waits for a charger", wait: "waits to be plugged in", ready: "ready", stopped: "charger off" }[state] || state;
  };

  return {
    // Show a day; the place among the records.
    choose(place) {
      day = prepare(data.records[place]);
      const where = part("where");
      const options = [["all", "all fields visited"], ...day.rigs.map((rig, number) => [String(number), "where rig " + rig.name + " is"])];
      where.replaceChildren(...options.map(([value, text]) => new Option(text, value)));
      where.value = new Set(day.rigs.flatMap((rig) => rig.moves.map((move) => move[4]))).size > 5 ? "0" : "all";
      rows("aircraft", day.aircraft, false);
      rows("packs", day.packs, true);
      rows("power", day.power, true);
      rows("people", [...day.people, ...(day.others || [])], false);
    },
    // Show a time, s after midnight; words follow a few times a second unless everything is asked for.
    show(clock, everything) {
      now = Math.max(0, Math.min(day.end_s, clock - day.day_start_s));
      drawMap();
      const tick = performance.now();
      if (!everything && tick - listed < 120) return;
      listed = tick;
      drawLists();
    },
  };
};
