// A signature drawn with a finger or a pen. Without script a name is typed and ticked instead.
"use strict";

for (const pad of document.querySelectorAll("[data-signature]")) {
  const MOST_STROKES = 60;
  const MOST_POINTS = 1500;
  const LEAST_STEP = 4;
  const kept = document.getElementById(pad.dataset.signature);
  const drawing = pad.querySelector("svg");
  const path = drawing.querySelector("path");
  const [width, height] = [drawing.viewBox.baseVal.width, drawing.viewBox.baseVal.height];
  let strokes = kept.value ? kept.value.split(";").map((one) => one.split(" ").map((pair) => pair.split(",").map(Number))) : [];
  let drawn = null;

  const show = () => {
    path.setAttribute("d", strokes.map((one) => `M${(one.length > 1 ? one : [one[0], one[0]]).map((at) => at.join(" ")).join("L")}`).join(""));
    kept.value = strokes.map((one) => one.map((at) => at.join(",")).join(" ")).join(";");
  };
  const at = (event) => {
    const box = drawing.getBoundingClientRect();
    const within = (share, most) => Math.min(most, Math.max(0, Math.round(share * most)));
    return [within((event.clientX - box.left) / box.width, width), within((event.clientY - box.top) / box.height, height)];
  };
  const points = () => strokes.reduce((sum, one) => sum + one.length, 0);

  drawing.addEventListener("pointerdown", (event) => {
    if (drawn !== null || strokes.length >= MOST_STROKES || points() >= MOST_POINTS) return;
    event.preventDefault();
    drawing.setPointerCapture(event.pointerId);
    drawn = event.pointerId;
    strokes.push([at(event)]);
    show();
  });
  drawing.addEventListener("pointermove", (event) => {
    if (event.pointerId !== drawn || points() >= MOST_POINTS) return;
    const stroke = strokes[strokes.length - 1];
    const [across, down] = at(event);
    const [x, y] = stroke[stroke.length - 1];
    if (Math.max(Math.abs(across - x), Math.abs(down - y)) < LEAST_STEP) return;
    stroke.push([across, down]);
    show();
  });
  for (const end of ["pointerup", "pointercancel"]) {
    drawing.addEventListener(end, (event) => {
      if (event.pointerId === drawn) drawn = null;
    });
  }
  pad.querySelector("button").addEventListener("click", () => {
    strokes = [];
    show();
  });
  pad.hidden = false;
}
