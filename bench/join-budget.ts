/**
 * What a join's difference from the truth is made of: the performer's mean CIEDE2000 as it is, and with the truth put
 * in for one term at a time: one gain a channel; a smooth light over the filled matte's normals (first and second
 * order, as in Ramamoorthi & Hanrahan, "An efficient representation for irradiance environment maps", SIGGRAPH 2001);
 * the best shift in whole pixels; and shift with light. What stays then is pose, texture and cast shadow. None of this
 * is used by the product. Run: `npx tsx bench/join-budget.ts FOLDER [scenes] [--every=12]` after join-scenes.ts.
 */
import { resolve } from 'node:path';
import { allScenes, type Frame } from './join-all.js';
import { blurred, regions, scoreFrame, type Regions } from './join-score.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { proposeFromFiles } from '../src/join/quick.js';
import { normalsOfMatte } from '../src/join/light/relight.js';
import { JoinRenderer } from '../src/join/render/render.js';

const REACH_PX = 6;
/** Coded value to linear, near enough for a fit of ratios. */
const linear = (v: number): number => Math.max(1e-3, v) ** 2.2;

/** Solves the normal equations of a few unknowns, slightly damped. */
function solve(a: number[][], b: number[]): number[] {
  const n = b.length;
  for (let i = 0; i < n; i++) a[i]![i]! += 1e-3 * (a[i]![i]! + 1);
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++) {
      if (j === i) continue;
      const k = a[j]![i]! / a[i]![i]!;
      for (let c = 0; c < n; c++) a[j]![c]! -= k * a[i]![c]!;
      b[j]! -= k * b[i]!;
    }
  return b.map((v, i) => v / a[i]![i]!);
}

/**
 * `ours` with log ratio to truth fitted by `order` 0 (gain), 1 (one direction) or 2 over the normals, inside performer
 * and band.
 */
function relit(
  ours: Picture,
  truth: Picture,
  r: Regions,
  normals: Float32Array,
  order: number,
): { picture: Picture; fit: number[][] } {
  const n = ours.width * ours.height;
  const out = createPicture(ours.width, ours.height, 3);
  const fit: number[][] = [];
  out.data.set(ours.data.subarray(0, 3 * n));
  const basis = (i: number): number[] => {
    const x = normals[i]!;
    const y = normals[n + i]!;
    const z = normals[2 * n + i]!;
    return order === 0 ? [1] : order === 1 ? [1, x, y] : [1, x, y, z * z, x * y, x * x - y * y, x * z, y * z];
  };
  for (let c = 0; c < 3; c++) {
    const size = basis(0).length;
    const a = Array.from({ length: size }, () => new Array<number>(size).fill(0));
    const b = new Array<number>(size).fill(0);
    for (let i = 0; i < n; i++) {
      if (r.label[i] !== 1) continue;
      const f = basis(i);
      const d = Math.log(linear(truth.data[c * n + i]!) / linear(ours.data[c * n + i]!));
      // Where both are dark a ratio says little of what is seen.
      const w = linear(truth.data[c * n + i]!) ** (2 / 3);
      for (let p = 0; p < size; p++) {
        b[p]! += w * f[p]! * d;
        for (let q = 0; q < size; q++) a[p]![q]! += w * f[p]! * f[q]!;
      }
    }
    const x = solve(a, b);
    fit.push(x);
    for (let i = 0; i < n; i++)
      if (r.label[i] === 1 || r.label[i] === 2)
        out.data[c * n + i] = Math.min(
          1,
          ours.data[c * n + i]! * Math.exp(basis(i).reduce((s, v, k) => s + v * x[k]!, 0) / 2.2),
        );
  }
  return { picture: out, fit };
}

function shifted(p: Picture, dx: number, dy: number): Picture {
  const { width: w, height: h } = p;
  const n = w * h;
  const out = createPicture(w, h, 3);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = Math.min(h - 1, Math.max(0, y - dy)) * w + Math.min(w - 1, Math.max(0, x - dx));
      for (let c = 0; c < 3; c++) out.data[c * n + y * w + x] = p.data[c * n + i]!;
    }
  return out;
}

/**
 * Best whole-pixel shift: correlation of luma after each side's own smooth light is divided
 * out would be finer; plain least squares serves.
 */
function bestShift(ours: Picture, truth: Picture, r: Regions): [number, number] {
  const { width: w, height: h } = ours;
  const n = w * h;
  let best: [number, number] = [0, 0];
  let least = Infinity;
  for (let dy = -REACH_PX; dy <= REACH_PX; dy++)
    for (let dx = -REACH_PX; dx <= REACH_PX; dx++) {
      let s = 0;
      let count = 0;
      for (let y = REACH_PX; y < h - REACH_PX; y++)
        for (let x = REACH_PX; x < w - REACH_PX; x++) {
          const i = y * w + x;
          if (r.label[i] !== 1 && r.label[i] !== 2) continue;
          const d = ours.data[n + i - dy * w - dx]! - truth.data[n + i]!;
          s += d * d;
          count++;
        }
      if (s / count < least) {
        least = s / count;
        best = [dx, dy];
      }
    }
  return best;
}

const TERMS = ['as it is', 'gain', 'light 1', 'light 2', 'shift', 'shift+light'] as const;

function budget(ours: Picture, f: Frame): { rows: number[]; shift: [number, number]; gain: number[]; tilt: number[] } {
  const t = blurred(f.truth);
  const b = blurred(f.base);
  const o = blurred(ours);
  const r = regions(f.matte, t.width, t.height, t, b);
  const normals = normalsOfMatte(f.matte, t.width, t.height);
  const score = (p: Picture): number => scoreFrame(p, t, b, r).performer;
  const shift = bestShift(o, t, r);
  const moved = shifted(o, ...shift);
  const gain = relit(o, t, r, normals, 0);
  const one = relit(o, t, r, normals, 1);
  return {
    rows: [
      score(o),
      score(gain.picture),
      score(one.picture),
      score(relit(o, t, r, normals, 2).picture),
      score(moved),
      score(relit(moved, t, r, normals, 2).picture),
    ],
    shift,
    gain: gain.fit.map((x) => x[0]! / Math.LN2),
    tilt: one.fit[1]!.slice(1).map((v) => v / Math.LN2),
  };
}

const args = process.argv.slice(2);
const plain = args.filter((a) => !a.startsWith('--'));
const every = Number(args.find((a) => a.startsWith('--every='))?.slice(8) ?? 12);
if (plain[0] === undefined) console.log('usage: npx tsx bench/join-budget.ts FOLDER [scenes] [--every=12]');
else
  for (const s of allScenes(resolve(plain[0]), plain[1]?.split(',') ?? [])) {
    const proposal = await proposeFromFiles(s.plate, s.take, s.plateMarks, s.takeMarks, 'fine');
    const light = proposal.recipe.steps.find((x) => x.step === 'light');
    console.log(
      s.id,
      light?.why,
      JSON.stringify(
        light?.step === 'light'
          ? {
              slope: light.slope.map((v) => +v.toFixed(2)),
              offset: light.offset.map((v) => +v.toFixed(3)),
              relight: light.relight,
            }
          : null,
      ),
    );
    const renderer = await JoinRenderer.open(proposal.recipe, {
      ...(await joinTools(proposal.recipe, s.plateMarks, proposal.camera)),
      carrier: proposal.carrier,
    });
    for await (const f of s.frames(every)) {
      const b = budget((await renderer.frame(f.frame)).coded(), f);
      console.log(
        `  ${f.frame} ${TERMS.map((k, i) => `${k} ${b.rows[i]!.toFixed(2)}`).join(' | ')} | ` +
          `shift ${b.shift.join(',')} px; gain wanted ${b.gain.map((v) => v.toFixed(2)).join(' ')} stops; ` +
          `tilt wanted x ${b.tilt[0]!.toFixed(2)} y ${b.tilt[1]!.toFixed(2)} stops`,
      );
    }
    await renderer.close();
  }
