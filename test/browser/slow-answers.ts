/**
 * Answers of the service that come late and overtake each other, as on a loaded machine: the net for races between what
 * a page is told in more than one way. Off unless PLATEWRIGHT_SLOW_ANSWERS says how late they come at most, ms;
 * PLATEWRIGHT_SLOW_SEED makes other delays. The event stream is let through as it is.
 */
import type { Browser, BrowserContext, Page, Route } from 'playwright-core';
import { RandomStream } from '../../src/core/random.js';

/** Pages of the browser get their answers late from now on, where the switch says so. */
export function withSlowAnswers(browser: Browser): Browser {
  // A page that is opened without one has a context of its own, made by this too.
  const newContext = browser.newContext.bind(browser);
  browser.newContext = async (options) => {
    const context = await newContext(options);
    await delayAnswers(context);
    return context;
  };
  return browser;
}

/**
 * Work during which answers come in time, whatever the switch says: a browser that holds requests for the test to
 * answer drops those that a page sends while it is closed.
 */
export async function inTime(page: Page, work: () => Promise<void>): Promise<void> {
  await page.context().unrouteAll({ behavior: 'wait' });
  await work();
  await delayAnswers(page.context());
}

/** Every answer of the service comes late by a time of its own, where the switch says so. */
async function delayAnswers(pages: BrowserContext): Promise<void> {
  const mostMs = Number(process.env['PLATEWRIGHT_SLOW_ANSWERS'] ?? 0);
  if (!(mostMs > 0)) return;
  const random = new RandomStream(Number(process.env['PLATEWRIGHT_SLOW_SEED'] ?? 1));
  const wait = (ms: number): Promise<void> => new Promise((done) => setTimeout(done, ms));
  await pages.route(/\/api\//, async (route) => {
    try {
      await late(route, () => wait(random.uniform() * mostMs));
    } catch {
      // The page is gone, or asks no more.
    }
  });
}

/**
 * The answer is made at once and waits on its way, so that it may be old when it comes. What can't be held so (the event
 * stream, which never ends; files sent or shown) sets out late in its place.
 */
async function late(route: Route, wait: () => Promise<void>): Promise<void> {
  const request = route.request();
  if (/\/api\/events/.test(request.url())) return route.continue();
  const isText = request.method() === 'GET' || request.headers()['content-type'] === 'application/json';
  if (!isText || /\/api\/(clip|frame|delivery|preview)/.test(request.url())) {
    await wait();
    return route.continue();
  }
  const response = await route.fetch();
  await wait();
  return route.fulfill({ response });
}
