/**
 * Finds the floor card's fiducials in a picture (OpenCV's detector for its open 4 × 4 dictionary, corners refined on the
 * outline) and reads its code. General vision that is on no hot path is left to the library.
 */
import { createRequire } from 'node:module';
import { MARKER_BITS } from '../brief/card-layout.js';
import { PlatewrightError } from '../core/errors.js';
import { resizePlane } from '../image/resize.js';

/** The little of the library that is used here. */
interface Mat { readonly rows: number; readonly cols: number; readonly data: Uint8Array; readonly data32F: Float32Array; readonly data32S: Int32Array; delete(): void }
interface MatVector { size(): number; get(i: number): Mat; delete(): void }
interface Deletable { delete(): void }
export interface VisionLibrary {
  Mat: new (rows?: number, cols?: number, type?: number) => Mat;
  MatVector: new () => MatVector;
  CV_8UC1: number;
  DICT_4X4_50: number;
  getPredefinedDictionary(n: number): Deletable & { generateImageMarker(id: number, side: number, out: Mat, border: number): void };
  aruco_DetectorParameters: new () => Deletable & { cornerRefinementMethod: number; adaptiveThreshWinSizeMax: number; minMarkerPerimeterRate: number; polygonalApproxAccuracyRate: number; perspectiveRemovePixelPerCell: number; maxErroneousBitsInBorderRate: number };
  aruco_RefineParameters: new (a: number, b: number, c: boolean) => Deletable;
  aruco_ArucoDetector: new (d: Deletable, p: Deletable, r: Deletable) => Deletable & { detectMarkers(image: Mat, corners: MatVector, ids: Mat, rejected?: MatVector): void };
  QRCodeDetector: new () => Deletable & { detectAndDecode(image: Mat): string };
  onRuntimeInitialized?: () => void;
}

/** Loads the vision library once; it must never be awaited itself, because its `then` resolves to itself. Hence the holder. */
let held: { cv: VisionLibrary } | null = null;
export async function loadVision(): Promise<{ cv: VisionLibrary }> {
  if (held !== null) return held;
  const cv = createRequire(import.meta.url)('@techstark/opencv-js') as VisionLibrary;
  if (cv.Mat === undefined) {
    await new Promise<void>((done, fail) => {
      const timer = setTimeout(() => fail(new PlatewrightError('PW-VISION-LOAD', 'the vision library did not start within 20 s', { kind: 'internal' })), 20_000);
      cv.onRuntimeInitialized = () => { clearTimeout(timer); done(); };
    });
  }
  held = { cv };
  return held;
}

export interface FoundMarker {
  readonly id: number;
  /** Corners in pixels (pixel centres at +0.5), in the order of the layout. */
  readonly corners: readonly (readonly [number, number])[];
}

/** Largest enlarged picture that is searched, pixels. */
const MOST_PIXELS = 9e6;

/**
 * Detects the card's fiducials in 8-bit luma (height × width); ids beyond the card's own are dropped. A card far away is small:
 * where not all are found, the neighbourhood of what looked like fiducials is searched again two and three times enlarged.
 */
export function detectMarkers(vision: { cv: VisionLibrary }, luma: Uint8Array, width: number, height: number): FoundMarker[] {
  const first = detectAt(vision, luma, width, height);
  let best = first.found;
  if (best.length === MARKER_BITS.length) return best;
  const points = [...first.found.flatMap((m) => m.corners), ...first.rejected];
  let box = { x0: 0, y0: 0, x1: width, y1: height };
  if (points.length > 0) {
    const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
    const pad = Math.max(40, 0.6 * Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys)));
    box = { x0: Math.max(0, Math.floor(Math.min(...xs) - pad)), y0: Math.max(0, Math.floor(Math.min(...ys) - pad)), x1: Math.min(width, Math.ceil(Math.max(...xs) + pad)), y1: Math.min(height, Math.ceil(Math.max(...ys) + pad)) };
  }
  for (const factor of [2, 3]) {
    const w = (box.x1 - box.x0) * factor, h = (box.y1 - box.y0) * factor;
    if (w * h > MOST_PIXELS) continue;
    const large = enlarge(luma, width, box, factor);
    const { found } = detectAt(vision, large, w, h);
    if (found.length > best.length) best = found.map((m) => ({ id: m.id, corners: m.corners.map((c) => [box.x0 + c[0] / factor, box.y0 + c[1] / factor] as const) }));
    if (best.length === MARKER_BITS.length) break;
  }
  return best;
}

/** Cubic enlargement of a part of 8-bit luma. */
function enlarge(luma: Uint8Array, stride: number, box: { x0: number; y0: number; x1: number; y1: number }, factor: number): Uint8Array {
  const w = box.x1 - box.x0, h = box.y1 - box.y0;
  const part = new Float32Array(w * h);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) part[y * w + x] = luma[(box.y0 + y) * stride + box.x0 + x]!;
  const large = resizePlane(part, w, h, w * factor, h * factor, 'cubic');
  return Uint8Array.from(large, (v) => (v < 0 ? 0 : v > 255 ? 255 : v + 0.5));
}

function detectAt(vision: { cv: VisionLibrary }, luma: Uint8Array, width: number, height: number): { found: FoundMarker[]; rejected: (readonly [number, number])[] } {
  const { cv } = vision;
  const image = new cv.Mat(height, width, cv.CV_8UC1);
  image.data.set(luma);
  const dictionary = cv.getPredefinedDictionary(cv.DICT_4X4_50), parameters = new cv.aruco_DetectorParameters(), refine = new cv.aruco_RefineParameters(10, 3, true);
  // 2 = contour refinement: fits lines to the fiducial's outline, which holds up better in blur than corner windows.
  parameters.cornerRefinementMethod = 2;
  parameters.adaptiveThreshWinSizeMax = 43;
  parameters.minMarkerPerimeterRate = 0.015;
  // Blur rounds corners: quads are accepted with coarser outlines, and cells are read from more samples.
  parameters.polygonalApproxAccuracyRate = 0.08;
  parameters.perspectiveRemovePixelPerCell = 8;
  parameters.maxErroneousBitsInBorderRate = 0.45;
  const detector = new cv.aruco_ArucoDetector(dictionary, parameters, refine);
  const corners = new cv.MatVector(), ids = new cv.Mat(), rejected = new cv.MatVector();
  try {
    detector.detectMarkers(image, corners, ids, rejected);
    const found: FoundMarker[] = [];
    const others: (readonly [number, number])[] = [];
    for (let i = 0; i < corners.size(); i++) {
      const id = ids.data32S[i]!;
      const m = corners.get(i);
      const c = m.data32F;
      if (id >= 0 && id < MARKER_BITS.length && !found.some((f) => f.id === id)) found.push({ id, corners: [0, 1, 2, 3].map((k) => [c[2 * k]! + 0.5, c[2 * k + 1]! + 0.5] as const) });
      m.delete();
    }
    for (let i = 0; i < rejected.size(); i++) {
      const m = rejected.get(i);
      for (let k = 0; k < 4; k++) others.push([m.data32F[2 * k]!, m.data32F[2 * k + 1]!]);
      m.delete();
    }
    return { found, rejected: others };
  } finally {
    for (const d of [detector, dictionary, parameters, refine, corners, ids, rejected, image]) d.delete();
  }
}

/** Text of a QR code in the picture, or null. */
export function readCode(vision: { cv: VisionLibrary }, luma: Uint8Array, width: number, height: number): string | null {
  const { cv } = vision;
  const image = new cv.Mat(height, width, cv.CV_8UC1);
  image.data.set(luma);
  const detector = new cv.QRCodeDetector();
  try {
    const text = detector.detectAndDecode(image);
    return text === '' ? null : text;
  } catch {
    // The library throws plain numbers on degenerate quads; that is a code that was not read.
    return null;
  } finally {
    detector.delete();
    image.delete();
  }
}
