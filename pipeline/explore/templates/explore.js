"use strict";
const form = document.getElementById("switches");
const result = document.getElementById("result");
const told = document.getElementById("told");  // stays on the page, so that its changes are read out
let asked = 0;

function values() {
  const found = {};
  for (const set of form.querySelectorAll("fieldset")) {
    const inputs = [...set.querySelectorAll("input")];
    const chosen = inputs.filter(input => input.checked).map(input => input.value);
    const kind = set.dataset.kind;
    found[set.dataset.name] = kind === "flag" ? inputs[0].checked
      : kind === "some" || kind === "grades" ? chosen
      : kind === "one" ? (chosen[0] || "") : inputs[0].value;
  }
  return found;
}

async function ask(what) {
  const mine = ++asked;
  result.setAttribute("aria-busy", "true");
  let text;
  try {
    const answer = await fetch(what, {
      method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(values()),
    });
    text = await answer.text();
  } catch {
    text = '<p class="caution" data-told>The program behind this page has ended.</p>';
  }
  if (mine !== asked) return;  // a later one is on its way
  result.innerHTML = text;
  result.setAttribute("aria-busy", "false");
  told.textContent = [...result.querySelectorAll("[data-told]")].map(part => part.textContent).join(" ");
}

form.addEventListener("change", () => ask("preview"));
form.addEventListener("submit", event => event.preventDefault());
document.getElementById("save").addEventListener("click", () => ask("save"));
document.getElementById("back").addEventListener("click", () => location.reload());
