// Requests to the server. Every write carries the digest and the step of what the page shows.

/** A change that the server refused; the message is for the person. */
export class Refused extends Error {}

/** The page shows another state than the server has. */
export class Stale extends Error {}

/** The program does not answer any more. */
export class Ended extends Error {}

const TABLE = /(^|: |; )[a-z_]+ \d+: /g;
/** "add_lead 1: " in a reason: which table of a file is meant, of which the page has none */

/**
 * @param {string} path
 * @param {RequestInit} [how]
 * @returns {Promise<any>}
 */
async function ask(path, how) {
  /** @type {Response} */
  let answer;
  try {
    answer = await fetch(path, how);
  } catch {
    throw new Ended();
  }
  if (answer.ok) return answer.status === 204 ? null : answer.json();
  const told = await answer.text();
  let why = told;
  try {
    why = JSON.parse(told).refused ?? told;
  } catch {
    // The guard answers with plain text.
  }
  if (answer.status === 409 && why.startsWith("the page is behind")) throw new Stale(why);
  throw new Refused(why.replace(TABLE, "$1"));
}

/** @param {string} path */
export const read = (path) => ask(path);

/**
 * @param {string} path
 * @param {object} body
 * @param {"POST" | "PUT"} [method]
 */
export function write(path, body, method = "POST") {
  const headers = { "content-type": "application/json", "x-review": "1" };
  return ask(path, { method, headers, body: JSON.stringify(body) });
}
