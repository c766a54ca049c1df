// The page's scripts are joined into one and share their names: each is checked with the names that
// the others declare at their top. All but view.js and what it is made of know no document.
const fs = require("node:fs");
const path = require("node:path");
const js = require("@eslint/js");

const folder = path.join(__dirname, "../../../../energy/answers/page/script");
const scripts = fs.readdirSync(folder).filter((name) => name.endsWith(".js"));
const declared = (name) =>
  [...fs.readFileSync(path.join(folder, name), "utf8").matchAll(/^(?:async )?(?:function|const|let|class) +([A-Za-z_]\w*)/gm)]
    .map((match) => match[1]);
const OF_THE_DOCUMENT = [
  "elements.js", "curve.js", "now_view.js", "tasks_view.js", "more_view.js", "log_view.js",
  "keeping.js", "view.js",
];
const BROWSER = [
  "document", "window", "navigator", "localStorage", "location", "setTimeout", "clearTimeout",
  "setInterval", "requestIdleCallback", "cancelIdleCallback", "Blob", "File", "URL", "Element",
  "HTMLElement", "HTMLInputElement", "HTMLSelectElement", "HTMLDetailsElement", "SVGElement", "Node",
  "DOMException",
];
const readable = (names) => Object.fromEntries(names.map((name) => [name, "readonly"]));

module.exports = scripts.map((name) => ({
  files: [`**/script/${name}`],
  languageOptions: {
    ecmaVersion: 2020,
    sourceType: "script",
    globals: {
      ...readable(scripts.filter((other) => other !== name).flatMap(declared)),
      ...(OF_THE_DOCUMENT.includes(name) ? readable(BROWSER) : {}),
      atob: "readonly",
    },
  },
  rules: {
    ...js.configs.recommended.rules,
    "no-unused-vars": ["error", { vars: "local", args: "after-used", varsIgnorePattern: "^_" }],
    eqeqeq: ["error", "always", { null: "ignore" }],
    "no-var": "error",
    "prefer-const": "error",
    "no-shadow": "error",
    "no-restricted-properties": ["error", { property: "innerHTML" }],
    "no-restricted-syntax": [
      "error",
      {
        selector: "CallExpression[callee.property.name=/^(insertAdjacentHTML|write|writeln)$/]",
        message: "text only: textContent",
      },
    ],
    ...(OF_THE_DOCUMENT.includes(name)
      ? {}
      : {
          "no-restricted-globals": ["error", "document", "window", "navigator"],
          "no-restricted-syntax": [
            "error",
            {
              selector: "MemberExpression[object.name='Date'][property.name='now']",
              message: "no clock decides here",
            },
          ],
        }),
  },
}));
