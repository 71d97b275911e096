// Shows what is flown where the pointer, a finger or a key is. Every reading comes ready from the page.
(() => {
  "use strict";
  const track = JSON.parse(document.getElementById("track").textContent);
  const along = document.getElementById("along");
  const readings = document.getElementById("readings");
  const values = [...readings.querySelectorAll(".value")];
  const names = [...readings.querySelectorAll(".name")].map((n) => n.textContent);
  const charts = [...document.querySelectorAll(".chart")];
  const last = track.at.length - 1;
  let at = 0;

  function show(index) {
    at = Math.min(Math.max(index, 0), last);
    const row = track.rows[at];
    values.forEach((value, i) => { value.textContent = row[i]; });
    along.value = track.at[at];
    along.setAttribute("aria-valuetext", row.map((reading, i) => `${reading} ${names[i]}`).join(", "));
    const part = track.at[at] / track.length;
    for (const chart of charts) {
      const left = Number(chart.dataset.left);
      const right = Number(chart.dataset.right);
      chart.querySelector(".cursor").style.left = `${100 * (left + (right - left) * part)}%`;
    }
  }

  // Of several points at one place the first.
  function nearest(nm) {
    let best = 0;
    for (let i = 1; i <= last; i += 1) {
      if (Math.abs(track.at[i] - nm) < Math.abs(track.at[best] - nm)) best = i;
    }
    return best;
  }

  function point(event) {
    const chart = event.currentTarget;
    const box = chart.getBoundingClientRect();
    const left = Number(chart.dataset.left);
    const right = Number(chart.dataset.right);
    const part = ((event.clientX - box.left) / box.width - left) / (right - left);
    show(nearest(part * track.length));
  }

  const segmentAfter = () => track.starts.find((start) => start > at) ?? last;
  const segmentBefore = () => track.starts.findLast((start) => start < at) ?? 0;
  const keys = {
    ArrowRight: () => at + 1,
    ArrowUp: () => at + 1,
    ArrowLeft: () => at - 1,
    ArrowDown: () => at - 1,
    PageDown: segmentAfter,
    PageUp: segmentBefore,
    Home: () => 0,
    End: () => last,
  };

  for (const chart of charts) {
    chart.addEventListener("pointermove", point);
    chart.addEventListener("pointerdown", point);
    chart.querySelector(".cursor").hidden = false;
  }
  along.addEventListener("input", () => show(nearest(along.valueAsNumber)));
  along.addEventListener("keydown", (event) => {
    const step = keys[event.key];
    if (!step || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    show(step());
  });
  readings.hidden = false;
  along.closest("div").hidden = false;
  show(0);
})();
