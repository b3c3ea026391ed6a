// The piece in the round: reads the GLB that lies in the page, and draws it on a canvas where it can be turned about. Asks
// for nothing, begins when it comes into sight, and draws only when something has changed. Without it, or where it cannot
// draw, a picture stands in its place. `build` makes three-view.min.js of it.

import {
  Box3,
  BufferGeometry,
  EdgesGeometry,
  LineBasicMaterial,
  LineSegments,
  MeshBasicMaterial,
  PerspectiveCamera,
  Scene,
  Spherical,
  Vector3,
  WebGLRenderer,
} from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";

const DEGREE = Math.PI / 180;
// A long lens, in which edges that run alike look alike.
const LENS = 24;
// What a press of a key does: so many degrees round, so many times nearer.
const TURN = 15;
const NEARER = 1.2;
// A whole turn takes 40 seconds.
const SLOWLY = 360 / 40_000;
// How long it takes from one side to the next, in ms.
const SWING = 350;
// The lines along edges: how dark; from how many pixels of length down they fade, and at how many they are gone, so that small
// cubes keep their colour; and up to how many triangles they are drawn, since finding them takes longer than all else.
const LINES = { dark: 0.5, full: 12, none: 4, triangles: 500_000 };

// Where to look from: degrees round from the front, towards the right, and degrees up.
const SIDES = { front: [0, 0], right: [90, 0], back: [180, 0], left: [270, 0], top: [0, 90] };
const BEGINNING = [38, 24];

const figure = document.getElementById("in-the-round");
if (figure !== null) {
  const sight = new IntersectionObserver((entries) => {
    if (!entries.some((entry) => entry.isIntersecting)) return;
    sight.disconnect();
    begin().catch((fault) => {
      console.info(`The piece is not drawn in the round: ${fault.message}`);
      say("This browser cannot draw the piece in the round, so a picture stands here.");
    });
  });
  sight.observe(figure);
}

function say(words) {
  figure.querySelector(".excuse").textContent = words;
  figure.classList.remove("drawn");
}

async function begin() {
  const canvas = figure.querySelector("canvas");
  // Asked for here: where there is none, three would complain on the console.
  const context = canvas.getContext("webgl2", { antialias: true });
  if (context === null) throw new Error("there is no WebGL 2");
  const { scene } = await read(await unpacked(document.getElementById("piece-glb").content.textContent));
  const stage = new Stage(canvas, context, scene);
  for (const button of figure.querySelectorAll("button[data-from]")) {
    button.addEventListener("click", () => stage.swing(...SIDES[button.dataset.from]));
  }
  const turn = figure.querySelector("button[aria-pressed]");
  stage.onturning = (turning) => turn.setAttribute("aria-pressed", String(turning));
  turn.addEventListener("click", () => stage.turn(!stage.turning));
  turn.hidden = calm();
  canvas.addEventListener("webglcontextlost", () => say("The drawing was lost; it comes back when there is room for it."));
  canvas.addEventListener("webglcontextrestored", () => {
    figure.classList.add("drawn");
    stage.draw();
  });
  figure.classList.add("drawn");
  stage.fit();
}

// Whether the reader has asked for little movement.
function calm() {
  return matchMedia("(prefers-reduced-motion: reduce)").matches;
}

// The GLB, which lies in the page as base64 of its gzip.
async function unpacked(text) {
  const packed = Uint8Array.from(atob(text.trim()), (letter) => letter.charCodeAt(0));
  return new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"))).arrayBuffer();
}

function read(file) {
  return new Promise((done, failed) => new GLTFLoader().parse(file, "", done, failed));
}

// Puts a piece into its colours without light or shade, which would change them.
function dress(meshes) {
  for (const mesh of meshes) {
    const { color, vertexColors } = mesh.material;
    // A little farther off than the lines that lie on it.
    const back = { polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 };
    mesh.material = new MeshBasicMaterial({ color, vertexColors, ...back });
  }
}

// Draws lines along the edges of all colours together, so that none is drawn where one colour borders on another in one
// plane. Gives what draws them, and how long they are: the mean over their length, in metres.
function outline(meshes) {
  const ink = new LineBasicMaterial({ color: 0, transparent: true });
  const corners = meshes.flatMap((mesh) => [...mesh.geometry.index.array]);
  // All colours share the points: see the writer of the file.
  const { position } = meshes[0].geometry.attributes;
  if (corners.length > 3 * LINES.triangles || meshes.some((mesh) => mesh.geometry.attributes.position !== position)) {
    return { ink, length: 0 };
  }
  const edges = new EdgesGeometry(new BufferGeometry().setAttribute("position", position).setIndex(corners), 1);
  const lines = new LineSegments(edges, ink);
  meshes[0].add(lines);
  lines.updateMatrixWorld();
  const { array } = edges.getAttribute("position");
  let [sum, squares] = [0, 0];
  for (let at = 0; at < array.length; at += 6) {
    const length = Math.hypot(...[0, 1, 2].map((axis) => array[at + axis] - array[at + 3 + axis]));
    sum += length;
    squares += length * length;
  }
  return { ink, length: (squares / sum) * lines.matrixWorld.getMaxScaleOnAxis() };
}

// How far the farthest point of the piece is from a place, in metres.
function reach(meshes, place) {
  const [{ matrixWorld, geometry }] = meshes;
  const { position } = geometry.attributes;
  const point = new Vector3();
  let most = 0;
  for (let at = 0; at < position.count; at += 1) {
    most = Math.max(most, point.fromBufferAttribute(position, at).applyMatrix4(matrixWorld).distanceTo(place));
  }
  return most;
}

// The piece before a camera that goes round it.
class Stage {
  constructor(canvas, context, piece) {
    this.canvas = canvas;
    this.turning = false;
    this.onturning = () => {};
    this.due = false;
    this.swinging = 0;
    this.scene = new Scene();
    this.scene.add(piece);
    piece.updateMatrixWorld();
    const meshes = [];
    piece.traverse((part) => part.isMesh && meshes.push(part));
    dress(meshes);
    this.lines = outline(meshes);
    this.middle = new Box3().setFromObject(piece).getCenter(new Vector3());
    this.radius = reach(meshes, this.middle);
    this.renderer = new WebGLRenderer({ canvas, context, antialias: true });
    this.renderer.setClearAlpha(0);
    this.camera = new PerspectiveCamera(LENS);
    // The canvas is handed wheels only with the key that zooms: the page scrolls otherwise.
    canvas.addEventListener("wheel", (event) => event.ctrlKey || event.metaKey || event.stopImmediatePropagation(), true);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.target.copy(this.middle);
    this.controls.enablePan = false;
    // A finger that goes up or down scrolls the page.
    canvas.style.touchAction = "pan-y";
    this.look(...BEGINNING);
    this.controls.addEventListener("start", () => this.rest());
    this.controls.addEventListener("change", () => this.draw());
    canvas.addEventListener("keydown", (event) => this.press(event));
    new ResizeObserver(() => this.fit()).observe(canvas);
  }

  // Where the camera stands: degrees round, degrees up, and how far off.
  get place() {
    const { theta, phi, radius } = new Spherical().setFromVector3(this.camera.position.clone().sub(this.middle));
    return [theta / DEGREE, 90 - phi / DEGREE, radius];
  }

  look(round, up, distance = this.far) {
    const place = new Spherical(distance, (90 - up) * DEGREE, round * DEGREE).makeSafe();
    this.camera.position.setFromSpherical(place).add(this.middle);
    this.controls.update();
    this.draw();
  }

  // How far off the whole piece is in sight, on a canvas of any shape.
  get far() {
    const half = Math.atan(Math.tan((LENS / 2) * DEGREE) * Math.min(this.camera.aspect, 1));
    return (1.02 * this.radius) / Math.sin(half);
  }

  fit() {
    const { clientWidth: width, clientHeight: height } = this.canvas;
    if (width === 0 || height === 0) return;
    const [round, up, distance] = this.place;
    const nearer = this.far / distance;
    this.camera.aspect = width / height;
    const { far } = this;
    this.controls.minDistance = far / 6;
    this.controls.maxDistance = far * 1.5;
    this.camera.near = far / 100;
    this.camera.far = far * 4;
    this.camera.updateProjectionMatrix();
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    this.renderer.setSize(width, height, false);
    this.look(round, up, far / nearer);
    // At once: a canvas of another size is empty until it is drawn.
    this.paint();
  }

  draw() {
    if (this.due) return;
    this.due = true;
    requestAnimationFrame(() => this.paint());
  }

  paint() {
    this.due = false;
    const pixels = (this.lines.length / this.place[2] / 2 / Math.tan((LENS / 2) * DEGREE)) * this.canvas.clientHeight;
    const share = (pixels - LINES.none) / (LINES.full - LINES.none);
    this.lines.ink.opacity = LINES.dark * Math.min(Math.max(share, 0), 1);
    this.renderer.render(this.scene, this.camera);
  }

  // To a side, by the shorter way.
  swing(round, up) {
    this.rest();
    const [from, height, distance] = this.place;
    const by = ((((round - from) % 360) + 540) % 360) - 180;
    const begun = performance.now();
    const step = (now) => {
      const share = calm() ? 1 : Math.min(Math.max(now - begun, 0) / SWING, 1);
      const eased = share * share * (3 - 2 * share);
      this.look(from + by * eased, height + (up - height) * eased, distance + (this.far - distance) * eased);
      if (share < 1) this.swinging = requestAnimationFrame(step);
    };
    step(begun);
  }

  turn(turning) {
    this.rest();
    this.turning = turning;
    this.onturning(turning);
    let before = performance.now();
    const step = (now) => {
      if (!this.turning) return;
      const [round, up, distance] = this.place;
      this.look(round + (now - before) * SLOWLY, up, distance);
      before = now;
      requestAnimationFrame(step);
    };
    if (turning) requestAnimationFrame(step);
  }

  // Whoever takes hold of the piece ends what it does by itself.
  rest() {
    cancelAnimationFrame(this.swinging);
    if (!this.turning) return;
    this.turning = false;
    this.onturning(false);
  }

  press(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const [round, up, distance] = this.place;
    const within = (value) => Math.min(Math.max(value, this.controls.minDistance), this.controls.maxDistance);
    const keys = {
      // As a drag does: to the left brings the right side round, up shows more of what is below.
      ArrowLeft: [round + TURN, up, distance],
      ArrowRight: [round - TURN, up, distance],
      ArrowUp: [round, Math.max(up - TURN, -90), distance],
      ArrowDown: [round, Math.min(up + TURN, 90), distance],
      "+": [round, up, within(distance / NEARER)],
      "=": [round, up, within(distance / NEARER)],
      "-": [round, up, within(distance * NEARER)],
    };
    const place = keys[event.key];
    if (place === undefined) return;
    event.preventDefault();
    this.rest();
    this.look(...place);
  }
}
