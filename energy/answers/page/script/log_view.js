"use strict";

// The log, and what leaves the page: readings, the plan as changed, the page itself.

/**
 * @param {View} view
 * @returns {Part}
 */
function logPart(view) {
  const list = make("ol", { class: "log", reversed: true });
  const empty = make("p", { class: "quiet" }, "Nothing is entered yet.");
  const back = pressable("Undo", view.undo);
  const again = pressable("Start again", () =>
    view.act({ kind: "start again", atS: view.now().atS }),
  );
  const out = outPart(view);
  const notes = make("div", {});
  const element = make(
    "div",
    { class: "live card" },
    make("h2", {}, "Log"),
    notes,
    empty,
    list,
    make("div", { class: "actions" }, back, again),
    out.element,
  );
  return {
    element,
    update() {
      const { state, past } = view.kept;
      show(empty, state.log.length === 0);
      notes.replaceChildren(
        ...view.keeper.notes.map((text) => make("p", { class: "quiet", dir: "auto" }, text)),
      );
      list.replaceChildren(
        ...state.log
          .map((entry) =>
            make(
              "li",
              { dir: "auto" },
              `${shortClock(view.kit, entry.atS)} ${entryWords(view.kit, entry)}`,
            ),
          )
          .reverse(),
      );
      back.toggleAttribute("disabled", past.length === 0);
      again.toggleAttribute("disabled", state.log.length === 0);
      out.update();
    },
  };
}

/**
 * A line of the log in words.
 * @param {Kit} kit
 * @param {Entry} entry
 */
function entryWords(kit, { kind, task, amount, percent, expected, minutes = 0, sky }) {
  switch (kind) {
    case "read": {
      const beside = expected == null ? "" : ` (${fixed(expected, 0)} % expected)`;
      return `battery reads ${brief(percent || 0)} %${beside}`;
    }
    case "done":
      if (amount == null) return `${task}: as planned`;
      return `${task}: ${amount === "all" ? "all" : brief(amount)} done`;
    case "shift":
      if (minutes === 0) return `${task}: at its planned time`;
      return `${task}: ${Math.abs(minutes)} min ${minutes < 0 ? "earlier" : "later"}`;
    case "drop":
      return `${task}: left out`;
    case "restore":
      return `${task}: brought back`;
    case "now":
      return `${task}: what is left, from now on`;
    case "as planned":
      return `${task}: at its planned time`;
    case "add":
      return `${task}: added`;
    case "sky":
      return sky ? `sky: ${SKY_WORDS[sky]}` : "sky: as foreseen";
    default:
      return kind;
  }
}

/**
 * The readings, the plan and the page as files.
 * @param {View} view
 */
function outPart(view) {
  const { kit } = view;
  const stem = fileStem(kit.data.origin);
  const { give, told, asFile } = handing();
  const readings = pressable("Readings for the evening", () =>
    give(`${stem}-readings.csv`, "text/csv", readingsCsv(kit, view.kept.state)),
  );
  const plan = pressable("Plan as changed", () =>
    give(`${stem}-changed.toml`, "text/plain", planToml(tablesOf(kit, view.kept.state))),
  );
  const page = pressable("Save this page", () => {
    const text = view.keeper.wholePage(dump(kit, view.kept));
    download({ name: `${stem}.html`, type: "text/html", text });
  });
  const learn = make("p", { class: "quiet" });
  return {
    element: box("out", box("actions", readings, plan, page), told, asFile, learn),
    update() {
      const isRead = view.kept.state.log.some(({ kind }) => kind === "read" || kind === "done");
      readings.toggleAttribute("disabled", !isRead);
      const isOther = kit.data.replaced || isChanged(view.kept.state);
      const file = isOther ? `${stem}-changed.toml` : kit.data.origin;
      say(learn, `In the evening: energy learn readings ${file} ${stem}-readings.csv`);
      show(learn, isRead);
    },
  };
}

/**
 * The plan's file name without its ending, as part of other names.
 * @param {string} origin
 */
function fileStem(origin) {
  const bare = origin.replace(/^builtin:/, "").replace(/\.toml$/, "");
  return bare.replace(/[^\p{L}\p{N}_-]+/gu, "-") || "plan";
}

/** Handing texts over: what came of it, and a button that saves the last one as a file. */
function handing() {
  /** @type {{name: string, text: string, type: string} | null} */
  let last = null;
  const told = make("p", { role: "status", class: "quiet" });
  const asFile = pressable("Save it as a file", () => last && download(last), { hidden: true });
  /** @param {string} name @param {string} type @param {string} text */
  const give = async (name, type, text) => {
    last = { name, type, text };
    const way = await handOver(last);
    say(told, OUT_WORDS[way].replace("NAME", name));
    show(asFile, way !== "saved");
  };
  return { give, told, asFile };
}
