"use strict";
// The slider, its keys and a drag across the pictures choose which step of the turn is shown. All that is read here is
// what the page holds already: addresses of pictures and words of the program's own.
(() => {
  const figure = document.getElementById("turntable");
  if (figure === null) return;
  const slider = figure.querySelector("input");
  const words = figure.querySelector("output");
  const shown = [...figure.querySelectorAll("img")];
  const steps = [...document.getElementById("turn-frames").content.children].map((step) => {
    const frames = [...step.querySelectorAll("img")].map((frame) => {
      const picture = new Image();
      picture.src = frame.getAttribute("src");
      return picture;
    });
    return { frames: frames.length > 0 ? frames : shown.map((first) => first.cloneNode()), says: step.dataset.says };
  });
  const cursors = [...document.querySelectorAll(".curve .cursor")];

  const show = (place) => {
    const step = ((place % steps.length) + steps.length) % steps.length;
    const { frames, says } = steps[step];
    shown.forEach((picture, side) => { picture.src = frames[side].src; });
    slider.value = String(step);
    slider.setAttribute("aria-valuetext", says);
    words.textContent = says;
    for (const cursor of cursors) {
      const x = (Number(cursor.dataset.width) * step) / steps.length;
      cursor.setAttribute("transform", `translate(${x.toFixed(1)} 0)`);
    }
  };

  // The piece turns with the hand: a picture's width is half a turn, and to the left brings its right side round.
  const ground = figure.querySelector(".pair");
  let hold = null;
  ground.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    hold = { x: event.clientX, place: Number(slider.value), width: shown[0].clientWidth };
    ground.setPointerCapture(event.pointerId);
  });
  ground.addEventListener("pointermove", (event) => {
    if (hold === null) return;
    const turned = (event.clientX - hold.x) / hold.width / 2;
    show(hold.place - Math.round(turned * steps.length));
  });
  for (const end of ["pointerup", "pointercancel"]) ground.addEventListener(end, () => { hold = null; });
  slider.addEventListener("input", () => show(Number(slider.value)));

  figure.querySelector(".control").hidden = false;
  document.documentElement.classList.add("turning");
  show(0);
})();
