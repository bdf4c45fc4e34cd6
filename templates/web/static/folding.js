// On a phone the form comes first; what explains it is one tap away. It runs between the two, so that nothing moves once it is seen.
if (window.matchMedia("(max-width: 48rem)").matches)
  ["more-side", "more-index"].forEach(function (id) {
    var more = document.getElementById(id);
    if (more) more.open = false;
  });
