/**
 * Who may come in. The service listens on loopback and answers only requests whose Host is loopback with its own port
 * (a page of a foreign site that resolves its name to 127.0.0.1 carries its own Host: DNS rebinding), and whose Origin,
 * where there is one, is the service itself (a foreign page may send forms here). Checked before anything else is done.
 */
import { PlatewrightError } from '../core/errors.js';

const LOOPBACK = new Set(['localhost', '127.0.0.1', '[::1]']);

/** Splits a Host header into name and port; null where it is malformed. */
export function splitHost(host: string): { name: string; port: string } | null {
  const m = /^(\[[0-9a-fA-F:]+\]|[A-Za-z0-9.-]+)(?::(\d{1,5}))?$/.exec(host);
  return m === null ? null : { name: m[1]!.toLowerCase(), port: m[2] ?? '' };
}

/** Throws `PW-SERVER-HOST` or `PW-SERVER-ORIGIN` for requests that do not come from this machine's own pages. */
export function checkCaller(
  host: string | undefined,
  origin: string | undefined,
  fetchSite: string | undefined,
  port: number,
): void {
  const h = host === undefined ? null : splitHost(host);
  if (h === null || !LOOPBACK.has(h.name) || h.port !== String(port)) {
    throw new PlatewrightError(
      'PW-SERVER-HOST',
      `the workbench answers only on this machine (http://localhost:${port}); ` +
        `the request named ${host === undefined ? 'no host' : `"${host}"`}`,
      { kind: 'usage' },
    );
  }
  if (origin !== undefined && origin !== 'null') {
    let ok = false;
    try {
      const u = new URL(origin);
      ok =
        u.protocol === 'http:' && LOOPBACK.has(u.hostname === '::1' ? '[::1]' : u.hostname) && u.port === String(port);
    } catch {
      ok = false;
    }
    if (!ok)
      throw new PlatewrightError(
        'PW-SERVER-ORIGIN',
        `a page of ${origin} may not use the workbench; open http://localhost:${port} itself`,
        { kind: 'usage' },
      );
  } else if (origin === 'null') {
    throw new PlatewrightError('PW-SERVER-ORIGIN', 'a page without an address of its own may not use the workbench', {
      kind: 'usage',
    });
  }
  if (fetchSite === 'cross-site')
    throw new PlatewrightError('PW-SERVER-ORIGIN', 'a page of another site may not use the workbench', {
      kind: 'usage',
    });
}
