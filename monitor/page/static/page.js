// Keeps the Now screen up to date, counts ages, copies lines. Everything else works without it.
"use strict";
(() => {
  const body = document.body;
  const skew = Date.now() / 1000 - Number(body.dataset.now);
  const serverNow = () => Date.now() / 1000 - skew;

  const span = (seconds) => {
    const s = Math.max(0, Math.round(seconds));
    if (s < 60) return `${s} s`;
    const minutes = Math.round(s / 60);
    if (minutes < 90) return `${minutes} min`;
    const hours = Math.floor(minutes / 60);
    if (hours < 48) return minutes % 60 ? `${hours} h ${minutes % 60} min` : `${hours} h`;
    const days = Math.floor(hours / 24);
    return hours % 24 ? `${days} days ${hours % 24} h` : `${days} days`;
  };
  const countAges = (within) => {
    for (const time of within.querySelectorAll("time[data-ago]")) {
      time.textContent = `${span(serverNow() - Number(time.dataset.ago))} ago`;
    }
  };

  const isDark = () =>
    document.documentElement.dataset.ink === "dark" ||
    (!document.documentElement.dataset.ink && matchMedia("(prefers-color-scheme: dark)").matches);
  for (const closer of document.querySelectorAll("details[data-scripts]")) {
    closer.hidden = false;
    closer.addEventListener("toggle", () => {
      const figure = closer.querySelector("[data-chart]");
      if (isDark()) figure.dataset.chart += "&dark=1"; // read by chart.js, which comes after
      for (const address of closer.dataset.scripts.split(" ")) {
        const script = document.createElement("script");
        script.src = address;
        script.async = false;
        document.head.append(script);
      }
    }, { once: true });
  }

  // What is made only when it is asked for says so while it is made, and is asked for once.
  for (const link of document.querySelectorAll("a[data-made]")) {
    const name = link.textContent;
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      if (link.getAttribute("aria-busy") === "true") event.preventDefault();
      link.setAttribute("aria-busy", "true");
      link.setAttribute("role", "status");
      link.textContent = link.dataset.made;
    });
    addEventListener("pageshow", () => {
      link.removeAttribute("aria-busy");
      link.removeAttribute("role");
      link.textContent = name;
    });
  }

  for (const button of document.querySelectorAll("button[data-copy]")) {
    button.hidden = false;
    button.addEventListener("click", async () => {
      const lines = document.getElementById(button.dataset.copy);
      getSelection().selectAllChildren(lines);
      let copied = false;
      try {
        await navigator.clipboard.writeText(lines.textContent);
        copied = true;
      } catch {
        // Without TLS a browser offers only the older way, which copies what is marked.
        copied = document.execCommand("copy");
      }
      button.textContent = copied ? "Copied" : "Marked: copy it by hand";
    });
  }

  const again = document.querySelector("[data-again]");
  if (again) setTimeout(() => location.reload(), Number(again.dataset.again) * 1000);

  const now = document.getElementById("now");
  if (!now) return;

  const lost = document.getElementById("lost");
  const announce = document.getElementById("announce");
  let known = new Set(JSON.parse(now.dataset.calls).map((call) => call[0]));
  let heardAt = Date.now();
  let source = null;

  const replace = (part, html) => {
    const focused = part.contains(document.activeElement) ? document.activeElement : null;
    const address = focused ? focused.getAttribute("href") : null;
    const fold = focused?.closest("summary")?.parentElement.dataset.fold;
    const open = new Set([...part.querySelectorAll("details[open]")].map((one) => one.dataset.fold));
    part.innerHTML = html; // made by our own templates, which escape every word
    countAges(part);
    for (const one of part.querySelectorAll("details[data-fold]")) {
      one.open = open.has(one.dataset.fold);
      if (fold === one.dataset.fold) one.querySelector("summary").focus({ preventScroll: true });
    }
    if (address) {
      for (const link of part.querySelectorAll("a[href]")) {
        if (link.getAttribute("href") === address) link.focus({ preventScroll: true });
      }
    }
  };
  const sort = (order) => {
    const boxes = document.getElementById("boxes");
    const stands = [...boxes.children].map((box) => box.id);
    if (stands.length !== order.length) { location.reload(); return; }
    if (stands.join() === order.join() || boxes.contains(document.activeElement)) return;
    for (const id of order) boxes.append(document.getElementById(id));
  };

  const take = (event) => {
    heardAt = Date.now();
    lost.hidden = true;
    const said = JSON.parse(event.data);
    if (!said.parts) return;
    for (const [name, html] of Object.entries(said.parts)) {
      if (name === "bedside") continue;
      const part = now.querySelector(`[data-part="${name}"]`);
      if (!part) { location.reload(); return; }
      replace(part, html);
    }
    sort(said.order);
    document.title = `${said.summary} – ${body.dataset.site}`;
    if (body.dataset.paper === "hours") {
      if (said.night) document.documentElement.dataset.ink = "dark";
      else delete document.documentElement.dataset.ink;
    }
    const fresh = said.calls.filter((call) => !known.has(call[0]));
    if (fresh.length) announce.textContent = fresh.map((call) => call[1]).join(". ");
    known = new Set(said.calls.map((call) => call[0]));
  };

  const listen = () => {
    if (source) source.close();
    source = new EventSource("/live");
    source.onmessage = take;
    source.onerror = () => {
      const before = heardAt; // it tries again by itself after some seconds
      setTimeout(() => { if (heardAt === before) sayLost(); }, 6000);
    };
  };
  const sayLost = () => {
    const since = new Date(heardAt).toTimeString().slice(0, 5);
    lost.textContent = `No live connection since ${since}. What stands here is that old.`;
    lost.hidden = false;
  };

  // A line can be dead without saying so: the server speaks at least every 15 s.
  setInterval(() => {
    countAges(now);
    const silent = Date.now() - heardAt;
    if (silent > 40000) sayLost();
    if (source.readyState === EventSource.CLOSED || silent > 60000) {
      if (silent % 30000 < 5000) listen();
    }
  }, 5000);
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && Date.now() - heardAt > 20000) listen();
  });
  listen();
})();
