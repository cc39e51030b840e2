# SPDX-License-Identifier: GPL-3.0-or-later
"""Drives the pages of one folder in headless Chromium by Selenium; prints TAP."""
import glob
import http.server
import os
import sys
import threading

from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By

folder = os.path.abspath(sys.argv[1])
number, asked = 0, []


def say(good, name, *facts):
    global number
    number += 1
    print("%s %d - %s" % ("ok" if good else "not ok", number, name))
    for fact in () if good else facts:
        print("#  ", fact)


class Quiet(http.server.SimpleHTTPRequestHandler):
    def __init__(self, *arguments, **more):
        super().__init__(*arguments, directory=folder, **more)

    def log_message(self, *_):
        asked.append(self.path)


def browser(width=1100, script=True):
    options = Options()
    for word in "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--window-size=%d,900" % width:
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    if not script:
        options.add_experimental_option("prefs", {"profile.managed_default_content_settings.javascript": 2})
    options.binary_location = "/usr/bin/chromium"
    return webdriver.Chrome(service=Service("/usr/bin/chromedriver"), options=options)


def names(driver):
    return [row.find_element(By.TAG_NAME, "a").text for row in driver.find_elements(By.CSS_SELECTOR, "#items tbody tr") if row.is_displayed()]


def column(driver, place):
    return [row.find_elements(By.TAG_NAME, "td")[place].text for row in driver.find_elements(By.CSS_SELECTOR, "#items tbody tr")]


# Boxes of the browser's own: text that lies over other text, or hangs out of the page.
OVERLAPS = """
var found = [], boxes = [];
var walker = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
while (walker.nextNode()) {
  var node = walker.currentNode;
  if (!node.textContent.trim() || !node.parentElement.checkVisibility()) { continue; }
  var range = document.createRange();
  range.selectNodeContents(node);
  Array.prototype.forEach.call(range.getClientRects(), function (box) { boxes.push([box, node.textContent]); });
}
boxes.forEach(function (a, i) {
  boxes.slice(0, i).forEach(function (b) {
    var x = Math.min(a[0].right, b[0].right) - Math.max(a[0].left, b[0].left);
    var y = Math.min(a[0].bottom, b[0].bottom) - Math.max(a[0].top, b[0].top);
    if (x > 1 && y > 3) { found.push(a[1] + " / " + b[1]); }
  });
});
return found;
"""

server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Quiet)
threading.Thread(target=server.serve_forever, daemon=True).start()
index = "http://127.0.0.1:%d/index.html" % server.server_port
item = "i/" + os.path.basename(sorted(glob.glob(folder + "/i/*.html"))[0])
model = "m/" + os.path.basename(sorted(glob.glob(folder + "/m/*.html"))[0])

driver = browser()
for where in "file://" + folder + "/", index.removesuffix("index.html"):
    what = where[:4]
    driver.get(where + "index.html")
    whole = names(driver)
    say(len(whole) == 14, what + ": all are shown")
    heads = driver.find_elements(By.CSS_SELECTOR, "#items th button")
    sea = [head.text for head in heads].index("Sea water")
    heads[sea].click()
    shown = [float(text.split(" ")[0].replace("\u2212", "-")) for text in column(driver, sea) if text]
    say(shown == sorted(shown) and len(shown) > 5, what + ": sorted by net buoyancy, downmost first", shown)
    say(column(driver, sea)[-1] == "", what + ": what has no number stays below")
    heads[sea].click()
    shown = [float(text.split(" ")[0].replace("\u2212", "-")) for text in column(driver, sea) if text]
    say(shown == sorted(shown, reverse=True) and column(driver, sea)[-1] == "", what + ": and the other way", shown)
    say(driver.find_elements(By.CSS_SELECTOR, "th[aria-sort=descending]") != [], what + ": which is said to who cannot see it")
    driver.find_element(By.ID, "search").send_keys("PLOVER pair")
    say(names(driver) == ["Plover fins, pair"], what + ": a search", names(driver))
    say(driver.find_element(By.ID, "said").text == "1 of 14 shown", what + ": which says how many")
    driver.get(where + item)
    say("A weight check in the water decides" in driver.find_element(By.TAG_NAME, "main").text, what + ": an item's page")
    say(driver.execute_script(OVERLAPS) == [], what + ": nothing lies over anything", driver.execute_script(OVERLAPS))
    driver.get(where + model)
    say(driver.execute_script("return document.images.length == 1 && document.images[0].naturalWidth > 1000"), what + ": a model with its picture")
    driver.find_element(By.LINK_TEXT, "All items").click()
    say(driver.title == "Net buoyancy of gear", what + ": and back")
log = [entry for entry in driver.get_log("browser") if "favicon" not in entry["message"]]
say(log == [], "nothing on the console", log)
say(set(asked) <= {"/index.html", "/" + item, "/" + model, "/favicon.ico"}, "nothing else is asked for", asked)
axe = "node_modules/axe-core/axe.min.js"
if os.path.exists(axe):
    for place in "index.html", item, model:
        driver.get("file://%s/%s" % (folder, place))
        driver.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
        driver.get("file://%s/%s" % (folder, place))
        driver.execute_script(open(axe, encoding="utf-8").read())
        found = driver.execute_async_script("var done = arguments[0]; axe.run().then(function (r) { done(r.violations.map("
                                            "function (v) { return v.id + ': ' + v.nodes[0].html; })); });")
        say(found == [], "axe-core finds nothing on " + place.split("/")[0], *found)
driver.quit()

driver = browser(width=390)
driver.set_window_size(390, 800)
driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {"width": 390, "height": 800, "deviceScaleFactor": 2, "mobile": True})
for place in "index.html", item, model:
    driver.get("file://%s/%s" % (folder, place))
    over = driver.execute_script("return document.documentElement.scrollWidth - window.innerWidth")
    say(over <= 0, "a phone shows the whole width of " + place.split("/")[0], over)
    say(driver.execute_script(OVERLAPS) == [], "and nothing over anything", driver.execute_script(OVERLAPS))
driver.quit()

driver = browser(script=False)
driver.get("file://%s/index.html" % folder)
say(len(names(driver)) == 14 and not driver.find_element(By.ID, "search").is_displayed(), "without scripts it is a table, without a search")
driver.quit()
print("1..%d" % number)
