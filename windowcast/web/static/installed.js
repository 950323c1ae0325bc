/* Lets the last answer be read when the office computer is away (kept.js), and asks for a new one when a
   page comes back into view an hour after it was made. Without this script every page works as well. */
if ("serviceWorker" in navigator) { navigator.serviceWorker.register("/kept.js"); }
(function () {
  var note = document.getElementById("kept"), shown = Date.now();
  function again() {
    if (document.visibilityState === "visible" && Date.now() - shown > 3600e3) { location.reload(); }
  }
  if (note && "again" in note.dataset) {
    document.addEventListener("visibilitychange", again);
    window.addEventListener("pageshow", again);
  }
})();
