/* Keeps the last answer of each page that was read, and shows it with its date when the office computer
   cannot be reached. What was posted, and addresses with a token, are never kept; a page is kept only
   if it says when it was made. Who may no longer read (401) finds nothing kept either. */
"use strict";
var PAGES = "windowcast-pages", PARTS = "windowcast-parts";
var ANSWERS = /^\/(s\/[^/]+\/(today|season|plan|plan\/crew)|trials\/[^/]+\/rate\/\d+)?$/;
var MOST = 40, PATIENCE_MS = 15000, OLD_MS = 6 * 3600e3;
var HEADERS = ["content-type", "content-security-policy", "x-content-type-options", "referrer-policy"];

self.addEventListener("install", function (event) {
  self.skipWaiting();
  event.waitUntil(part(new Request("/away")));
});
self.addEventListener("activate", function (event) { event.waitUntil(self.clients.claim()); });
self.addEventListener("fetch", function (event) {
  var request = event.request, url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) { return; }
  if (url.pathname.startsWith("/static/")) {
    event.respondWith(part(request));
  } else if (request.mode === "navigate") {
    event.respondWith(visited(event, url));
  }
});

/* A style sheet, a script or the page for what was not kept: the server's, else the last one. */
async function part(request) {
  var cache = await caches.open(PARTS);
  try {
    var answer = await fetch(request);
    if (answer.ok) { await cache.put(request, answer.clone()); }
    return answer;
  } catch (away) {
    return (await cache.match(request)) || Response.error();
  }
}

async function visited(event, url) {
  var key = keyOf(url), old = key && await (await caches.open(PAGES)).match(key);
  var asked = fetch(event.request).then(async function (answer) {
    if (answer.status === 401) { await Promise.all([caches.delete(PAGES), caches.delete(PARTS)]); }
    if (key && answer.status === 200 && !answer.redirected) { event.waitUntil(keep(key, answer.clone())); }
    return answer;
  });
  var soon = old ? Promise.race([asked, new Promise(function (_, no) { setTimeout(no, PATIENCE_MS); })]) : asked;
  event.waitUntil(asked.catch(function () {}));
  try {
    var answer = await soon;
    return answer.status === 502 || answer.status === 504 ? await kept(old) : answer;
  } catch (away) {
    return kept(old);
  }
}

/* Where a page is kept; "" for one that is not. */
function keyOf(url) {
  var asked = new URLSearchParams(url.search);
  if (!ANSWERS.test(url.pathname) || asked.has("token") || asked.has("done")) { return ""; }
  asked.delete("lang");
  return url.pathname + (String(asked) && "?" + asked);
}

async function keep(key, answer) {
  var html = await answer.text();
  if (!/ id="kept" data-made="\d+"/.test(html)) { return; }
  var headers = {};
  HEADERS.forEach(function (name) { headers[name] = answer.headers.get(name) || ""; });
  var cache = await caches.open(PAGES);
  await cache.delete(key);
  await cache.put(key, new Response(html, { headers: headers }));
  var keys = await cache.keys();
  await Promise.all(keys.slice(0, Math.max(0, keys.length - MOST)).map(function (one) { return cache.delete(one); }));
  if (!(await (await caches.open(PARTS)).match("/away"))) { await part(new Request("/away")); }
}

/* A kept page with its date on it: at its top, in its title and before every answer. */
async function kept(old) {
  if (!old) { return list(); }
  var html = await old.text(), note = html.match(/<div [^>]*id="kept"[^>]*>/)[0];
  var age = Date.now() - 1000 * Number(said(note, "made")), past = age > OLD_MS || age < 0;
  var date = said(note, past ? "old-as-of" : "as-of");
  html = html.replace(note, note.replace(" hidden", ""));
  html = past ? html.replace('class="old" hidden', 'class="old"') : html;
  html = html.replace("<html ", '<html class="kept" ').replace("<title>", "<title>" + date + " ");
  html = html.split('<h2 class="answer"').join('<p class="as-of">' + date + '</p><h2 class="answer"');
  return new Response(html, { headers: old.headers });
}

function said(note, name) { return note.match(new RegExp(" data-" + name + '="([^"]*)"'))[1]; }

/* For a page that was not kept: the names of those that were. */
async function list() {
  var away = await (await caches.open(PARTS)).match("/away");
  if (!away) { return Response.error(); }
  var cache = await caches.open(PAGES), items = [];
  for (var key of (await cache.keys()).reverse()) {
    var title = (await (await cache.match(key)).text()).match(/<title>([^<]*)/)[1];
    var url = new URL(key.url), place = (url.pathname + url.search).replace(/&/g, "&amp;").replace(/"/g, "%22");
    items.push('<li><a href="' + place + '">' + title + "</a></li>");
  }
  var html = (await away.text()).replace('<ul id="kept-pages">', '<ul id="kept-pages">' + items.join(""));
  return new Response(html, { headers: away.headers });
}
