/* Rating plot by plot: one plot at a time, each value kept on the phone as it is typed and sent when the
   office computer can be reached. Without this script the same form is filled in and sent as a whole. */
(function () {
  var form = document.querySelector("form.rate");
  if (!form || !window.localStorage) { return; }
  var mine = form.elements.form.value, path = "windowcast-rate:" + location.pathname + "#";
  var key = path + mine, stored = JSON.parse(form.dataset.stored), state = form.querySelector("[data-state]");
  var plots = Array.from(form.querySelectorAll("[data-plot]")), at = 0, sending = false, again = false;
  var date = form.elements.date, own = form.elements.proof, early = form.elements.before;

  /* Values of a day of treatment that were taken before it are kept apart from those after it. */
  function today() {
    var apart = early && early.checked && !(date.value < form.dataset.treated);
    return date.value + (apart ? " before" : "");
  }

  function read() { try { return JSON.parse(localStorage.getItem(key)) || {}; } catch (broken) { return {}; } }
  function write(kept) {
    if (Object.keys(kept).length) { localStorage.setItem(key, JSON.stringify(kept)); } else { localStorage.removeItem(key); }
    say(kept);
  }
  /* kept: day -> field -> { text, seen: what was stored when it was typed, label; clash: what was stored
     meanwhile, once told }, all that was not sent yet. stored: day -> field -> text, as last heard of. A key
     names what the fields meant when they were typed: the trial file may give them another meaning. */
  function say(kept) {
    var count = Object.values(kept).reduce(function (sum, day) { return sum + Object.keys(day).length; }, 0);
    state.textContent = count ? form.dataset.kept.replace("{values}", count) : form.dataset.sent;
  }
  function note(name, text) {
    var input = form.elements[name];
    if (!input || !input.nextElementSibling) { return; }
    input.nextElementSibling.textContent = text;
    if (text) { input.setAttribute("aria-invalid", "true"); } else { input.removeAttribute("aria-invalid"); }
  }
  function typed(event) {
    var input = event.target;
    if (!input.closest("[data-plot]")) { return; }
    note(input.name, "");
    var now = today(), kept = read(), day = kept[now] || (kept[now] = {}), old = day[input.name];
    var last = (stored[now] || {})[input.name] || "", text = input.value.trim();
    var seen = !old ? last : old.clash === undefined ? old.seen : old.clash;
    if (text === seen && text === last && !sending) { delete day[input.name]; }
    else { day[input.name] = { text: text, seen: seen, label: labelOf(input) }; }
    if (!Object.keys(day).length) { delete kept[now]; }
    write(kept);
  }
  function labelOf(input) {
    var plot = input.closest("[data-plot]").querySelector("legend").textContent;
    return plot + ", " + form.querySelector('label[for="' + input.id + '"]').textContent;
  }

  async function send() {
    if (sending) { again = true; return; } // what was typed meanwhile goes next
    if (!navigator.onLine) { return; }
    sending = true;
    do {
      again = false;
      var kept = read();
      try { for (var day of Object.keys(kept)) { await sendDay(day, kept[day]); } } catch (away) { /* tried again later */ }
    } while (again);
    sending = false;
  }
  async function sendDay(day, values) {
    var answer = await post(day, values);
    if (answer.status === 403) { await freshProof(); answer = await post(day, values); }
    if (answer.status === 409) { state.textContent = (await answer.json()).changed; return; }
    if (answer.status !== 200 && answer.status !== 422) { return; }
    var said = await answer.json(), wrong = said.wrong || {}, now = said.now || {}, kept = read(), left = kept[day] || {};
    Object.keys(values).forEach(function (name) {
      var one = left[name], same = one && one.text === values[name].text;
      if (now[name] !== undefined) { (stored[day] || (stored[day] = {}))[name] = now[name]; }
      if (one && !wrong[name] && !wrong.date) {
        if (same) { delete left[name]; } else { one.seen = now[name]; }
      } else if (same && wrong[name] && now[name] !== undefined) { one.clash = now[name]; }
      if (same && wrong[name] && day === today()) { note(name, wrong[name]); }
    });
    if (!Object.keys(left).length) { delete kept[day]; }
    write(kept);
    if (wrong.date) { state.textContent = wrong.date; }
  }
  function post(day, values) {
    var body = new URLSearchParams({ proof: own.value, form: mine, date: day.slice(0, 10) }), seen = {};
    if (day.length > 10) { body.set("before", "on"); }
    Object.keys(values).forEach(function (name) {
      body.set(name, values[name].text);
      seen[name] = values[name].seen;
    });
    body.set("seen", JSON.stringify(seen));
    return fetch(location.pathname, { method: "POST", body: body, headers: { accept: "application/json" } });
  }
  async function freshProof() {
    var page = await (await fetch(location.pathname, { cache: "reload" })).text();
    var found = page.match(/name="proof" value="(\w+)"/);
    if (found) { own.value = found[1]; }
  }

  function show(number) {
    at = Math.min(Math.max(number, 0), plots.length - 1);
    plots.forEach(function (plot, n) { plot.hidden = n !== at; });
    var first = plots[at] && plots[at].querySelector("input");
    if (first) { first.focus(); }
  }
  function button(text, step) {
    var one = document.createElement("button");
    one.type = "button";
    one.textContent = text;
    one.addEventListener("click", function () { send(); show(at + step); });
    return one;
  }
  var row = document.createElement("p");
  row.append(button(form.dataset.last, -1), " ", button(form.dataset.next, 1));
  form.querySelector("button").closest("p").before(row);
  form.addEventListener("keydown", function (event) {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT") { return; }
    event.preventDefault();
    var inside = Array.from(plots[at].querySelectorAll("input")), next = inside[inside.indexOf(event.target) + 1];
    if (next) { next.focus(); } else { send(); show(at + 1); }
  });
  form.addEventListener("submit", function (event) { event.preventDefault(); send(); });
  form.addEventListener("input", typed);
  window.addEventListener("online", send);
  setInterval(send, 30000);
  function fill() {
    var day = read()[today()] || {}, before = stored[today()] || {};
    plots.forEach(function (plot) {
      plot.querySelectorAll("input").forEach(function (input) {
        var one = day[input.name];
        input.value = one ? one.text : before[input.name] || "";
        note(input.name, "");
      });
    });
  }
  /* Values typed while the fields meant something else: shown, never sent. */
  function strays() {
    var box = document.querySelector("[data-strays]"), list = box.querySelector("ul"), forget = box.querySelector("button");
    var keys = Object.keys(localStorage).filter(function (one) {
      return one !== key && one.startsWith(path);
    });
    keys.forEach(function (one) {
      var kept = JSON.parse(localStorage.getItem(one));
      Object.keys(kept).forEach(function (day) {
        Object.keys(kept[day]).forEach(function (name) {
          var value = kept[day][name], item = document.createElement("li");
          item.textContent = day.slice(0, 10) + (day.length > 10 ? ", " + form.dataset.before : "") + " · " + value.label + ": " + (value.text || "–");
          list.append(item);
        });
      });
    });
    box.hidden = !list.children.length;
    forget.addEventListener("click", function () {
      if (!window.confirm(forget.dataset.sure)) { return; }
      keys.forEach(function (one) { localStorage.removeItem(one); });
      box.hidden = true;
    });
  }
  strays();
  if (document.documentElement.classList.contains("kept")) { // made on another day, maybe
    date.value = new Date().toLocaleDateString("sv-SE", { timeZone: form.dataset.zone }); // 2025-11-05
  }
  date.addEventListener("change", fill);
  if (early) { early.addEventListener("change", fill); }
  if (!form.querySelector("[aria-invalid]")) { fill(); }
  say(read());
  show(0);
  send();
})();
