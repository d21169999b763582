// What a plain page cannot do: keys, search while typing, the drawing when the page stands, progress, drop a file.
// Without this script every form still works.
"use strict";

const fill = async (place, address) => {
  try {
    const answer = await fetch(address, { credentials: "same-origin" });
    if (answer.ok) place.innerHTML = await answer.text();
    else place.textContent = "This could not be shown. Reload the page to try again.";
  } catch {
    place.textContent = "The bench does not answer. Is it still running?";
  }
};

// A drawing wider than a telephone begins at the first suspect.
const toSuspect = (place) => {
  const suspect = place.querySelector(".suspect");
  if (!suspect || place.scrollWidth <= place.clientWidth) return;
  const [seen, frame] = [suspect.getBoundingClientRect(), place.getBoundingClientRect()];
  place.scrollLeft += (seen.left + seen.right) / 2 - (frame.left + frame.right) / 2;
};

document.documentElement.classList.add("scripted");

// Pictures come after the page, so that the next check never waits for them.
for (const place of document.querySelectorAll("[data-fetch]")) fill(place, place.dataset.fetch).then(() => toSuspect(place));
for (const folded of document.querySelectorAll("[data-fetch-in]")) {
  folded.addEventListener("toggle", () => fill(folded.querySelector("div"), folded.dataset.fetchIn), { once: true });
}
for (const choice of document.querySelectorAll("[data-sends]")) {
  choice.addEventListener("change", () => choice.form.requestSubmit());
}

// A second touch on a button that was touched already does nothing.
for (const form of document.querySelectorAll("form[method=post]")) {
  form.addEventListener("submit", (event) => setTimeout(() => {
    if (event.defaultPrevented) return;
    for (const button of form.querySelectorAll("button")) button.disabled = true;
  }));
}
window.addEventListener("pageshow", () => {
  for (const button of document.querySelectorAll("button:disabled")) button.disabled = false;
});

for (const button of document.querySelectorAll("[data-prints]")) button.addEventListener("click", () => print());

// Keys, only while nothing is being typed or chosen.
document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, textarea, select");
  if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
  const search = document.getElementById("q");
  if (event.key === "/" && search) {
    event.preventDefault();
    search.focus();
    return;
  }
  const button = document.querySelector(`[data-key="${CSS.escape(event.key.toLowerCase())}"]`);
  if (button && !button.disabled) button.click();
});

// Search while typing; an answer that comes too late is thrown away.
const search = document.querySelector("[data-finds]");
if (search) {
  const found = document.getElementById("found");
  let waiting;
  let latest = 0;
  search.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(async () => {
      const mine = ++latest;
      const sheet = document.createElement("div");
      await fill(sheet, `${search.dataset.finds}?q=${encodeURIComponent(search.value)}`);
      if (mine === latest) found.replaceChildren(...sheet.childNodes);
    }, 150);
  });
}

// Recordings.
const drop = document.querySelector("[data-puts]");
if (drop) {
  const [chooser, tone, stage] = ["[type=file]", "[name=tone]", "[name=stage]"].map((one) => drop.querySelector(one));
  const [coming, refused] = [drop.querySelector(".coming"), drop.querySelector(".refused")];
  const [bar, says] = [coming.querySelector("progress"), coming.querySelector("[role=status]")];
  const button = drop.querySelector("button");

  const refuse = (problems) => {
    coming.hidden = true;
    button.disabled = false;
    refused.hidden = false;
    refused.replaceChildren(...problems.map((one) => {
      const line = document.createElement("p");
      const where = document.createElement("b");
      where.textContent = one.where;
      line.append(where, ` ${one.found} ${one.do}`);
      return line;
    }));
  };

  const send = (file) => {
    refused.hidden = true;
    if (file.size > Number(drop.dataset.most)) {
      const size = `is ${(file.size / 2 ** 30).toFixed(1)} GiB, and 2 GiB is the most.`;
      refuse([{ where: file.name, found: size, do: "Cut it to the part with the test tone." }]);
      return;
    }
    coming.hidden = false;
    button.disabled = true;
    const asked = new URLSearchParams({ name: file.name, tone: tone.value, stage: stage.value });
    const request = new XMLHttpRequest();
    request.open("PUT", `${drop.dataset.puts}?${asked}`);
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.responseType = "json";
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) bar.value = event.loaded / event.total;
      says.textContent = `Copying ${file.name}`;
    });
    request.upload.addEventListener("load", () => {
      bar.removeAttribute("value");
      says.textContent = "Looking at it";
    });
    request.addEventListener("load", () => {
      if (request.status === 201) {
        location.reload();
      } else {
        const broke = { where: file.name, found: "could not be taken.", do: "Reload the page and try again." };
        refuse(request.response?.problems ?? [broke]);
      }
    });
    request.addEventListener("error", () => {
      refuse([{ where: file.name, found: "did not arrive.", do: "See that the bench is running, and try again." }]);
    });
    request.send(file);
  };

  drop.addEventListener("submit", (event) => {
    event.preventDefault();
    if (chooser.files.length) send(chooser.files[0]);
    else refuse([{ where: "Recording:", found: "no file was chosen.", do: "Choose a sound file, or a video with sound, first." }]);
  });
  chooser.addEventListener("change", () => chooser.files.length && send(chooser.files[0]));
  // A file that misses the frame must not take the page away.
  for (const name of ["dragover", "drop"]) document.addEventListener(name, (event) => event.preventDefault());
  const place = document.getElementById("recordings");
  place.addEventListener("dragover", () => drop.classList.add("over"));
  place.addEventListener("dragleave", () => drop.classList.remove("over"));
  place.addEventListener("drop", (event) => {
    drop.classList.remove("over");
    if (event.dataTransfer.files.length) send(event.dataTransfer.files[0]);
  });
}

// Measuring goes on beside the page.
const measuring = document.querySelector("[data-measuring]");
if (measuring) {
  const look = async () => {
    try {
      const { shares } = await (await fetch(measuring.dataset.measuring)).json();
      for (const bar of document.querySelectorAll("[data-share]")) bar.value = shares[bar.dataset.share] ?? 0;
      const typing = document.activeElement?.matches("input, textarea") && document.activeElement.value;
      if (shares.every((share) => share === 1) && !typing) {
        location.reload();
        return;
      }
    } catch { /* The bench was stopped; the next look tells. */ }
    setTimeout(look, 700);
  };
  setTimeout(look, 500);
}
