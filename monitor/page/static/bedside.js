// Beside the bed: keeps the screen lit and dim, sounds while an urgent alarm is not answered, and
// says (and, after a while, sounds) when nothing is heard from the watch.
"use strict";
(() => {
  const body = document.body;
  const part = document.querySelector("[data-part=bedside]");
  const lost = document.getElementById("lost");
  const quiet = document.getElementById("quiet");
  const SILENT_MS = 45000; // the service speaks at least every 15 s
  const SOUND_LOST_MS = 180000; // a restart of the service takes less
  const DIM_AFTER_MS = 60000;
  const LOUDER_EACH = 0.1;

  let heardAt = Date.now();
  let touchedAt = Date.now();
  let urgent = JSON.parse(body.dataset.calls).some((call) => call[2]);
  let source = null;
  let audio = null;
  let loud = 0;
  let begun = false;
  let muted = false; // the lost watch was heard of

  const beep = (high, low) => {
    if (!audio) return;
    loud = Math.min(1, loud + LOUDER_EACH);
    for (const [tone, from] of [[high, 0], [low, 0.35]]) {
      const oscillator = audio.createOscillator();
      const gain = audio.createGain();
      oscillator.type = "square";
      oscillator.frequency.value = tone;
      gain.gain.value = loud * 0.4;
      oscillator.connect(gain).connect(audio.destination);
      oscillator.start(audio.currentTime + from);
      oscillator.stop(audio.currentTime + from + 0.3);
    }
  };

  const keepLit = async () => {
    if (!begun || document.hidden) return;
    try {
      await navigator.wakeLock.request("screen");
      quiet.hidden = true;
    } catch {
      quiet.textContent =
        "This browser cannot keep the screen lit (most can over https only): " +
        "set the device itself never to sleep.";
      quiet.hidden = false;
    }
  };

  const look = () => {
    const silent = Date.now() - heardAt;
    const isLost = silent > SILENT_MS;
    if (isLost) {
      const since = new Date(heardAt).toTimeString().slice(0, 5);
      lost.textContent = `No word from the watch since ${since}. Look at the chicks, then at the board.`;
    } else muted = false;
    lost.hidden = !isLost;
    const sounds = begun && ((urgent && !isLost) || (silent > SOUND_LOST_MS && !muted));
    if (!sounds) loud = 0;
    body.dataset.sounds = sounds ? "yes" : "no";
    body.classList.toggle("wakes", urgent || isLost);
    body.classList.toggle("dim", begun && !urgent && !isLost && Date.now() - touchedAt > DIM_AFTER_MS);
    if (sounds) beep(...(isLost ? [440, 330] : [1050, 790]));
    if (begun && audio && audio.state !== "running") audio.resume();
    if (silent > 60000 && silent % 30000 < 1500) listen();
  };

  const take = (event) => {
    heardAt = Date.now();
    const said = JSON.parse(event.data);
    if (said.parts) {
      if (said.parts.bedside) part.innerHTML = said.parts.bedside; // of our own, escaped
      urgent = said.calls.some((call) => call[2]);
      document.title = said.summary;
    }
    look();
  };
  const listen = () => {
    if (source) source.close();
    source = new EventSource("/live");
    source.onmessage = take;
  };

  // Answered here, so that the sound is allowed to go on afterwards.
  part.addEventListener("click", async (event) => {
    const link = event.target.closest("a[data-answer]");
    if (!link) return;
    event.preventDefault();
    link.textContent = "Sending …";
    const once = `${Date.now()}${Math.random()}`;
    const form = new URLSearchParams({ form_token: body.dataset.token, once });
    try {
      const answer = await fetch(link.getAttribute("href"), { method: "POST", body: form });
      if (!answer.ok) throw new Error();
    } catch {
      location.href = link.getAttribute("href"); // the alarm's own screen says what is wrong
    }
  });
  for (const kind of ["pointerdown", "keydown"]) {
    body.addEventListener(kind, () => {
      touchedAt = Date.now();
      if (Date.now() - heardAt > SOUND_LOST_MS) muted = true;
      look();
    });
  }
  document.getElementById("start").addEventListener("click", () => {
    begun = true;
    document.getElementById("begin").hidden = true;
    audio = new AudioContext();
    loud = 0.2;
    beep(790, 1050); // so loud it begins
    loud = 0;
    keepLit();
    look();
  });
  document.addEventListener("visibilitychange", keepLit);
  setInterval(look, 1200);
  listen();
})();
