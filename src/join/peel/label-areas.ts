/**
 * Four-connected parts of a mask with their areas: union-find over rows (Rosenfeld and Pfaltz, "Sequential operations in
 * digital picture processing", JACM 1966) in typed arrays, nothing else recorded, for use in every frame.
 */

/** @returns labels, 0 off the mask (not consecutive), and the area a label in pixels */
export function labelAreas(mask: Uint8Array, w: number, h: number): { labels: Int32Array; area: Int32Array } {
  const n = w * h;
  const labels = new Int32Array(n);
  // A new label needs a pixel whose left neighbour is off the mask: at most every other pixel of a row.
  const parent = new Int32Array(((w + 1) >> 1) * h + 1);
  let count = 1;
  for (let y = 0; y < h; y += 1) {
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x;
      if (mask[i] === 0) continue;
      const left = x > 0 ? labels[i - 1]! : 0;
      const above = y > 0 ? labels[i - w]! : 0;
      if (left === 0 && above === 0) {
        parent[count] = count;
        labels[i] = count;
        count += 1;
      } else if (left === 0 || above === 0 || left === above) labels[i] = left === 0 ? above : left;
      else {
        let a = left;
        let b = above;
        while (parent[a]! !== a) a = parent[a]!;
        while (parent[b]! !== b) b = parent[b]!;
        const root = a < b ? a : b;
        parent[a] = root;
        parent[b] = root;
        parent[left] = root;
        parent[above] = root;
        labels[i] = root;
      }
    }
  }
  // A parent never has the larger number, so one pass upwards flattens the trees.
  for (let l = 1; l < count; l += 1) parent[l] = parent[parent[l]!]!;
  const area = new Int32Array(count);
  for (let i = 0; i < n; i += 1) {
    const l = parent[labels[i]!]!;
    labels[i] = l;
    area[l] = area[l]! + 1;
  }
  return { labels, area };
}
