// Shows the plan that the slider stands on. Every word, line and place comes ready from the page.
(() => {
  "use strict";
  const slider = document.getElementById("stop");
  const section = slider.closest("section");
  const blocks = [...section.querySelectorAll(".stop")];
  const layers = [...section.querySelectorAll("g[data-stop]")];
  const said = blocks.filter((block) => block.dataset.said).map((block) => block.dataset.said);
  const lines = [...section.querySelectorAll("[data-points]")].map((picture) => ({
    picture,
    ring: picture.querySelector(".ring"),
    points: picture.dataset.points.split(" ").map((point) => point.split(",").map(Number)),
  }));

  function show(stop) {
    const at = String(stop);
    slider.value = at;
    slider.setAttribute("aria-valuetext", said[stop]);
    for (const block of blocks) block.hidden = block.dataset.stop !== at;
    for (const layer of layers) layer.classList.toggle("shown", layer.dataset.stop === at);
    for (const { ring, points } of lines) {
      ring.style.left = `${100 * points[stop][0]}%`;
      ring.style.top = `${100 * points[stop][1]}%`;
    }
  }

  for (const { picture, points } of lines) {
    const touched = (event) => {
      if (!event.buttons) return;
      const box = picture.getBoundingClientRect();
      const far = points.map(([x, y]) => Math.hypot(
        event.clientX - box.left - x * box.width, event.clientY - box.top - y * box.height));
      show(far.indexOf(Math.min(...far)));
    };
    picture.addEventListener("pointerdown", touched);
    picture.addEventListener("pointermove", touched);
  }
  slider.addEventListener("input", () => show(slider.valueAsNumber));
  slider.closest("div").hidden = false;
  show(slider.valueAsNumber);
})();
