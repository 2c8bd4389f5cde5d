// What the page does: statements and exhibits point at each other, numbers lead to where they come from.
"use strict";
(function () {
  const root = document.documentElement;
  const read = (id) => JSON.parse(document.getElementById(id).textContent);
  const specs = read("exhibit-data");
  const places = read("mark-data");
  const wide = window.matchMedia("(min-width: 900px)");
  const darkened = window.matchMedia("(prefers-color-scheme: dark)");
  const exhibits = [...document.querySelectorAll(".exhibit")];
  const findings = [...document.querySelectorAll(".finding")];
  const stage = document.querySelector(".stage");
  const card = document.querySelector(".card");
  const STOPS = ".finding[tabindex], .finding[tabindex] a.n";
  let marked = null;

  root.classList.add("js");

  const placeOf = (id) => places.find((place) => place.finding === id);
  const findingOf = (id) => findings.find((finding) => finding.dataset.finding === id);
  const plotOf = (exhibit) => exhibit.querySelector(".plot");
  const mode = () => root.dataset.mode || (darkened.matches ? "dark" : "light");

  function draw(exhibit) {
    const plot = plotOf(exhibit);
    if (plot.dataset.drawn) return;
    plot.dataset.drawn = "yes";
    Earwitness.draw(plot, specs[exhibit.dataset.exhibit]).then(() => markIn(exhibit));
  }

  // Pictures of what was checked are drawn as they come into view: a folded one when it is opened.
  const seen = new IntersectionObserver((entries) => {
    for (const entry of entries) {
      if (!entry.isIntersecting) continue;
      seen.unobserve(entry.target);
      Earwitness.draw(entry.target.querySelector(".chart"), specs[entry.target.dataset.chart]);
    }
  }, { rootMargin: "300px 0px" });
  for (const chart of document.querySelectorAll("[data-chart]")) seen.observe(chart);
  // Their stills come last, so that they are there when the page is printed.
  window.addEventListener("load", () => {
    for (const still of document.querySelectorAll(".chart-of .still")) still.loading = "eager";
  });

  // On a phone all of them are in the flow: drawn one after the other, so that reading can begin at once.
  function drawRest() {
    const next = wide.matches ? undefined : exhibits.find((exhibit) => !plotOf(exhibit).dataset.drawn);
    if (!next) return;
    setTimeout(() => {
      draw(next);
      drawRest();
    });
  }

  function markIn(exhibit) {
    const plot = plotOf(exhibit);
    if (!plot.dataset.drawn) return;
    const place = marked && placeOf(marked);
    const here = !place ? [] : place.marks.filter((m) => m.exhibit === exhibit.dataset.exhibit);
    Earwitness.mark(plot, here.map((m) => ({ ...m, number: place.number })));
  }

  // The exhibits on the right: one at a time, chosen by letter or by a statement.
  function show(id) {
    for (const exhibit of exhibits) exhibit.classList.toggle("current", exhibit.dataset.exhibit === id);
    for (const button of document.querySelectorAll(".letters button")) {
      button.setAttribute("aria-pressed", String(button.dataset.shows === id));
    }
    const exhibit = exhibits.find((e) => e.dataset.exhibit === id);
    if (exhibit) draw(exhibit);
  }

  function addLetters() {
    if (!stage) return;
    const letters = document.createElement("div");
    letters.className = "letters";
    letters.setAttribute("role", "group");
    letters.setAttribute("aria-label", "Choose an exhibit");
    for (const exhibit of exhibits) {
      const button = document.createElement("button");
      button.type = "button";
      button.dataset.shows = exhibit.dataset.exhibit;
      const letter = document.createElement("b");
      letter.textContent = exhibit.dataset.letter;
      button.append(letter, ` ${exhibit.dataset.title}`);
      button.addEventListener("click", () => show(exhibit.dataset.exhibit));
      letters.append(button);
    }
    stage.before(letters);
  }

  // On a phone each exhibit follows the statement that speaks of it; it moves along with the marked one.
  function follow(finding, exhibit) {
    const before = finding.getBoundingClientRect().top;
    finding.after(exhibit);
    window.scrollBy({ top: finding.getBoundingClientRect().top - before, behavior: "instant" });
  }

  function arrange() {
    for (const exhibit of exhibits) stage.append(exhibit);
    if (wide.matches) return;
    const placed = new Set();
    for (const place of places) {
      const first = place.marks.find((mark) => !placed.has(mark.exhibit));
      if (!first) continue;
      placed.add(first.exhibit);
      findingOf(place.finding).after(exhibits.find((e) => e.dataset.exhibit === first.exhibit));
    }
  }

  function mark(id) {
    const place = placeOf(id);
    if (!place || place.marks.length === 0) return;
    marked = id;
    for (const finding of findings) {
      const here = finding.dataset.finding === id;
      finding.classList.toggle("marked", here);
      if (here) finding.setAttribute("aria-current", "true");
      else finding.removeAttribute("aria-current");
    }
    const shown = exhibits.find((e) => e.classList.contains("current"));
    const stays = shown && place.marks.some((m) => m.exhibit === shown.dataset.exhibit);
    const id_ = wide.matches && stays ? shown.dataset.exhibit : place.marks[0].exhibit;
    const exhibit = exhibits.find((e) => e.dataset.exhibit === id_);
    if (!wide.matches) follow(findingOf(id), exhibit);
    show(id_);
    exhibits.forEach(markIn);
  }

  function clear() {
    if (marked === null) return;
    marked = null;
    for (const finding of findings) {
      finding.classList.remove("marked");
      finding.removeAttribute("aria-current");
    }
    exhibits.forEach(markIn);
  }

  // Pointing at a curve shows the statements about that place; choosing the place marks the first of them.
  function pointAt(point) {
    if (!exhibits.some((e) => e.dataset.exhibit === point.exhibit)) return;
    const found = point.panel === null ? [] : places.filter((place) => place.marks.some((m) =>
      m.exhibit === point.exhibit && m.panel === point.panel
      && m.from_hz <= point.frequency_hz && point.frequency_hz <= m.to_hz));
    const ids = new Set(found.map((place) => place.finding));
    for (const finding of findings) finding.classList.toggle("pointed", ids.has(finding.dataset.finding));
    const here = exhibits.find((e) => e.dataset.exhibit === point.exhibit).querySelector(".here");
    here.replaceChildren();
    for (const place of found) {
      const number = document.createElement("b");
      number.textContent = place.number;
      const statement = findingOf(place.finding).querySelector("h3").textContent;
      here.append(number, ` ${statement} `);
    }
    if (point.chosen && found.length) mark(found[0].finding);
  }

  // A number opens a card that says where it comes from.
  function openCard(link) {
    const origin = document.getElementById(link.hash.slice(1));
    if (!origin || !origin.matches("details")) return false;
    const title = document.createElement("p");
    title.append(...[...origin.querySelector("summary").children].map((part) => part.textContent).join(": "));
    const close = document.createElement("button");
    close.type = "button";
    close.textContent = "×";
    close.setAttribute("aria-label", "Close");
    close.addEventListener("click", closeCard);
    const head = document.createElement("header");
    head.append(title, close);
    const body = [...origin.children].slice(1).map((part) => part.cloneNode(true));
    for (const part of body) for (const named of part.querySelectorAll("[id]")) named.removeAttribute("id");
    card.replaceChildren(head, ...body);
    card.returnTo = link;
    if (!card.open) card.show();
    close.focus({ preventScroll: true });
    return true;
  }

  function closeCard() {
    if (!card.open) return;
    card.close();
    if (card.returnTo) card.returnTo.focus({ preventScroll: true });
  }

  function openTarget() {
    const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    for (let node = target; node; node = node.parentElement) if (node.matches("details")) node.open = true;
    if (target) target.scrollIntoView();
  }

  // A statement is one stop of the Tab key; arrows go from it through its numbers.
  for (const link of document.querySelectorAll(".finding[tabindex] a.n")) link.tabIndex = -1;

  function step(from, by) {
    const finding = from.closest(".finding[tabindex]");
    const links = [...finding.querySelectorAll("a.n")].filter((link) => !link.closest("details:not([open])"));
    const stops = [finding, ...links];
    const next = stops[stops.indexOf(from) + by];
    if (next) next.focus();
  }

  document.addEventListener("click", (event) => {
    const number = event.target.closest("a.n");
    if (number && !number.closest(".appendix")) {
      if (openCard(number)) event.preventDefault();
    }
    if (event.target.closest(".card a:not(.n)")) card.close();
    const shows = event.target.closest("a[data-shows]");
    if (shows && wide.matches) {
      event.preventDefault();
      show(shows.dataset.shows);
    }
    const finding = event.target.closest(".finding[tabindex]");
    if (finding && !event.target.closest("summary")) {
      mark(finding.dataset.finding);
      if (shows && wide.matches) show(shows.dataset.shows);
    }
  });
  document.addEventListener("focusin", (event) => {
    const finding = event.target.closest(".finding[tabindex]");
    if (finding && finding === event.target && finding.matches(":focus-visible")) mark(finding.dataset.finding);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") {
      if (card.open) closeCard();
      else clear();
    } else if (event.key === "Enter" && event.target.matches(".finding[tabindex]")) {
      mark(event.target.dataset.finding);
    } else if (/^Arrow(Left|Right)$/.test(event.key) && event.target.matches(STOPS)) {
      event.preventDefault();
      step(event.target, event.key === "ArrowRight" ? 1 : -1);
    }
  });

  const toggle = document.querySelector(".mode");
  toggle.hidden = false;
  toggle.addEventListener("click", () => {
    root.dataset.mode = mode() === "dark" ? "light" : "dark";
    Earwitness.dress(mode());
  });
  darkened.addEventListener("change", () => Earwitness.dress(mode()));

  const opened = [];
  window.addEventListener("beforeprint", () => {
    for (const details of document.querySelectorAll("details:not([open])")) {
      details.open = true;
      opened.push(details);
    }
  });
  window.addEventListener("afterprint", () => {
    for (const details of opened.splice(0)) details.open = false;
  });
  window.addEventListener("hashchange", openTarget);

  Earwitness.dress(mode());
  if (stage) {
    Earwitness.onPoint(pointAt);
    addLetters();
    arrange();
    wide.addEventListener("change", () => {
      arrange();
      drawRest();
    });
    if (exhibits.length) show(exhibits[0].dataset.exhibit);
    drawRest();
  }
  openTarget();
})();
