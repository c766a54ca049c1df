"use strict";

// Where what was entered is kept: the browser's storage, or the page itself; how files leave it.

/**
 * kept: what was kept; keep: keeps it as it now is; notes: what is to be said of it; wholePage: the
 * page as a file, with a state inside.
 * @typedef {{kept: Kept, key: string, keep: (text: string) => boolean, byHandS: number,
 *   keepClock: (byHandS: number) => void, notes: string[],
 *   wholePage: (text: string) => string}} Keeper
 */

const PREFIX = "energy-page:";
const CLOCK_PREFIX = "energy-page-clock:";
const FORGETS =
  "This browser keeps nothing here: what you enter is forgotten when the page is closed." +
  " Save this page to keep it.";
const KEEPS = "What you enter is kept in this browser.";
/** @type {{[way: string]: string}} */
const OUT_WORDS = {
  shared: "Handed over as NAME.",
  copied: "Copied: paste it into a file named NAME.",
  saved: "Saved as NAME.",
  dropped: "Not handed over.",
};

/**
 * @param {Kit} kit
 * @param {HTMLElement} whole  the document as it was opened
 * @returns {Keeper}
 */
function newKeeper(kit, whole) {
  const key = PREFIX + kit.data.id;
  const inside = whole.querySelector("#kept")?.textContent?.trim() || "null";
  const stored = read(key);
  /** @type {string[]} */
  const notes = [];
  const kept = newerOf(kit, stored, inside === "null" ? null : inside, notes);
  if (stored !== null && load(kit, stored).problem !== null) write(`${key}:aside`, stored);
  notes.push(write(key, dump(kit, kept)) ? KEEPS : FORGETS);
  notes.push(...otherVersions(kit));
  return {
    kept,
    notes,
    key,
    keep(text) {
      const isKept = write(key, text);
      const [said, other] = isKept ? [KEEPS, FORGETS] : [FORGETS, KEEPS];
      if (notes.includes(other)) notes[notes.indexOf(other)] = said;
      return isKept;
    },
    byHandS: Number(read(CLOCK_PREFIX + kit.data.id)) || 0,
    keepClock: (byHandS) => void write(CLOCK_PREFIX + kit.data.id, String(byHandS)),
    wholePage: (text) => wholePage(whole, text),
  };
}

/**
 * The later of what the browser and what the file holds.
 * @param {Kit} kit
 * @param {string | null} stored
 * @param {string | null} inside
 * @param {string[]} notes
 * @returns {Kept}
 */
function newerOf(kit, stored, inside, notes) {
  const [mine, files] = [stored, inside].map((text) => {
    if (text === null) return null;
    const { history, problem } = load(kit, text);
    if (problem !== null) notes.push(`${problem[0].toUpperCase()}${problem.slice(1)}.`);
    return history;
  });
  if (files && (!mine || files.turns > mine.turns)) {
    notes.push("What was saved inside this file is taken up.");
    return files;
  }
  return mine || files || newHistory();
}

/**
 * A line where the browser keeps entries of another version of this plan.
 * @param {Kit} kit
 */
function otherVersions({ data }) {
  try {
    const others = Object.keys(localStorage)
      .filter((key) => key.startsWith(PREFIX) && key !== PREFIX + data.id)
      .map((key) => JSON.parse(localStorage.getItem(key) || "null"))
      .filter((other) => other && other.title === data.title && other.state?.log?.length);
    return others.length
      ? [`Entries made on another version of "${data.title}" stay with that version.`]
      : [];
  } catch {
    return [];
  }
}

/** @param {string} key */
function read(key) {
  try {
    return localStorage.getItem(key);
  } catch {
    return null;
  }
}

/**
 * @param {string} key
 * @param {string} text
 * @returns {boolean} whether it is kept
 */
function write(key, text) {
  try {
    localStorage.setItem(key, text);
    return true;
  } catch {
    return false;
  }
}

/**
 * The page as a file, with a state inside.
 * @param {HTMLElement} whole
 * @param {string} text
 */
function wholePage(whole, text) {
  const copy = /** @type {HTMLElement} */ (whole.cloneNode(true));
  const place =
    copy.querySelector("#kept") ||
    copy
      .querySelector("body")
      ?.insertBefore(
        make("script", { type: "application/json", id: "kept" }),
        copy.querySelector("#data"),
      );
  const escapes = { "<": "\\u003c", ">": "\\u003e", "&": "\\u0026" };
  if (place)
    place.textContent = text.replace(/[<>&]/g, (mark) => escapes[/** @type {"<"} */ (mark)]);
  return `<!doctype html>\n${copy.outerHTML}\n`;
}

/**
 * Hand a text over: by the system's share sheet, the clipboard, or as a file.
 * @param {{name: string, text: string, type: string}} file
 * @returns {Promise<"shared" | "copied" | "saved" | "dropped">}
 */
async function handOver(file) {
  const files = [new File([file.text], file.name, { type: file.type })];
  try {
    if (navigator.canShare?.({ files })) {
      await navigator.share({ files });
      return "shared";
    }
  } catch (error) {
    if (error instanceof DOMException && error.name === "AbortError") return "dropped";
  }
  try {
    await navigator.clipboard.writeText(file.text);
    return "copied";
  } catch {
    download(file);
    return "saved";
  }
}

/** @param {{name: string, text: string, type: string}} file */
function download({ name, text, type }) {
  const url = URL.createObjectURL(new Blob([text], { type }));
  const link = make("a", { href: url, download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
}
