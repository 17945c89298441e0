//! A real browser, told what to do: a small client of the WebDriver protocol (W3C Recommendation of
//! 5 June 2018) towards Debian's `chromedriver`. It reaches nothing but this machine.

use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::Duration;

use serde_json::{Value, json};

use crate::running::{DEADLINE, until};

/// The key under which the protocol names an element.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// What the browser must not do by itself, and that it may run as root in a container.
const FLAGS: &[&str] = &[
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-domain-reliability",
    "--disable-extensions",
    "--disable-sync",
    "--metrics-recording-only",
    "--no-first-run",
    "--no-pings",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
];

/// How a page is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scheme {
    Light,
    Dark,
}

/// Width and height of a phone in CSS pixels.
pub(crate) const PHONE: (u32, u32) = (390, 844);
/// Width and height of a desk's screen in CSS pixels.
pub(crate) const DESK: (u32, u32) = (1440, 900);

/// Keys that have no letter (W3C WebDriver, "keyboard actions").
pub(crate) const TAB: &str = "\u{e004}";
pub(crate) const ENTER: &str = "\u{e007}";
pub(crate) const SPACE: &str = " ";

/// A browser of its own, with nothing remembered; ended when it is dropped.
pub(crate) struct Browser {
    process: Child,
    agent: ureq::Agent,
    session: String,
    home: String,
}

/// An element of the page that is shown.
pub(crate) struct Element<'b> {
    browser: &'b Browser,
    id: String,
}

impl Browser {
    /// A browser for the service at this address.
    pub(crate) fn open(home: SocketAddr) -> Self {
        let mut process = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .spawn()
            .expect("chromedriver is there (the packages `chromium` and `chromium-driver`)");
        let mut lines = BufReader::new(process.stdout.take().unwrap()).lines();
        let port = lines
            .by_ref()
            .map_while(Result::ok)
            .find_map(|line| {
                let port = line.split_once("started successfully on port ")?.1;
                Some(port.trim_end_matches('.').to_owned())
            })
            .expect("chromedriver says its port");
        // What it says later is read, so that it never waits for somebody to read it.
        thread::spawn(move || lines.map_while(Result::ok).for_each(drop));
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .timeout_global(Some(DEADLINE))
            .build();
        let mut browser = Browser {
            process,
            agent: config.into(),
            session: format!("http://127.0.0.1:{port}/session"),
            home: format!("http://{home}"),
        };
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "browserName": "chrome",
            "goog:chromeOptions": {"args": FLAGS},
            "goog:loggingPrefs": {"browser": "ALL"},
        }}});
        let session = browser.ask("POST", "", &wanted);
        browser.session += &format!("/{}", session["sessionId"].as_str().unwrap());
        browser.look(DESK, Scheme::Light);
        browser
    }

    /// One command; fails with what the driver says.
    fn ask(&self, method: &str, command: &str, body: &Value) -> Value {
        self.try_ask(method, command, body)
            .unwrap_or_else(|why| panic!("{method} {command}: {why}\n{}", self.where_it_is()))
    }

    fn try_ask(&self, method: &str, command: &str, body: &Value) -> Result<Value, String> {
        let url = format!("{}{command}", self.session);
        let answer = match method {
            "GET" => self.agent.get(&url).call(),
            "DELETE" => self.agent.delete(&url).call(),
            _ => self.agent.post(&url).send(body.to_string()),
        };
        let text = answer.unwrap().body_mut().with_config().limit(1 << 26).read_to_string();
        let value: Value = serde_json::from_str(&text.unwrap()).unwrap();
        match value["value"]["error"].as_str() {
            Some(error) => Err(format!("{error}: {}", value["value"]["message"])),
            None => Ok(value["value"].clone()),
        }
    }

    fn where_it_is(&self) -> String {
        let title = self.try_ask("GET", "/title", &Value::Null);
        let url = self.try_ask("GET", "/url", &Value::Null);
        format!("at {url:?}, {title:?}")
    }

    /// Goes to a path of the service and waits until the page is there.
    pub(crate) fn go(&self, path: &str) {
        self.ask("POST", "/url", &json!({"url": format!("{}{path}", self.home)}));
    }

    /// The path and query that is shown.
    pub(crate) fn path(&self) -> String {
        let url = self.ask("GET", "/url", &Value::Null);
        url.as_str().unwrap().trim_start_matches(&self.home).to_owned()
    }

    /// Looks at it on a screen of this size, in a light or dark scheme.
    pub(crate) fn look(&self, (width, height): (u32, u32), scheme: Scheme) {
        let mobile = (width, height) == PHONE;
        let screen = json!(
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": mobile}
        );
        self.devtools("Emulation.setDeviceMetricsOverride", screen);
        let value = if scheme == Scheme::Dark { "dark" } else { "light" };
        let feature = json!({"name": "prefers-color-scheme", "value": value});
        self.devtools("Emulation.setEmulatedMedia", json!({"features": [feature]}));
    }

    /// Looks at it as it would be on paper, in a dark scheme.
    pub(crate) fn on_paper(&self) {
        let dark = json!({"name": "prefers-color-scheme", "value": "dark"});
        let paper = json!({"media": "print", "features": [dark]});
        self.devtools("Emulation.setEmulatedMedia", paper);
    }

    fn devtools(&self, command: &str, params: Value) -> Value {
        self.ask("POST", "/goog/cdp/execute", &json!({"cmd": command, "params": params}))
    }

    /// Runs the body of a function in the page and returns what it returns.
    pub(crate) fn script(&self, body: &str) -> Value {
        self.ask("POST", "/execute/sync", &json!({"script": body, "args": []}))
    }

    /// The element of this CSS selector, waited for.
    pub(crate) fn find(&self, css: &str) -> Element<'_> {
        self.found("css selector", css)
    }

    /// Elements of this CSS selector; there may be none.
    pub(crate) fn all(&self, css: &str) -> Vec<Element<'_>> {
        let found = self.ask("POST", "/elements", &json!({"using": "css selector", "value": css}));
        found.as_array().unwrap().iter().map(|e| self.element(e)).collect()
    }

    /// The link with exactly this text.
    pub(crate) fn link(&self, text: &str) -> Element<'_> {
        self.found("link text", text)
    }

    /// The button with exactly this text.
    pub(crate) fn button(&self, text: &str) -> Element<'_> {
        self.found("xpath", &format!("//button[normalize-space()='{text}']"))
    }

    /// The field with exactly this label.
    pub(crate) fn field(&self, label: &str) -> Element<'_> {
        self.found("xpath", &format!("//*[@id=//label[normalize-space()='{label}']/@for]"))
    }

    fn found(&self, using: &str, value: &str) -> Element<'_> {
        let wanted = json!({"using": using, "value": value});
        let (found, end) = (|| self.try_ask("POST", "/element", &wanted), DEADLINE / 6);
        let start = std::time::Instant::now();
        loop {
            match found() {
                Ok(found) => return self.element(&found),
                Err(_) if start.elapsed() < end => thread::sleep(Duration::from_millis(20)),
                Err(why) => panic!("{why}\n{}\n{}", self.where_it_is(), self.text()),
            }
        }
    }

    fn element(&self, found: &Value) -> Element<'_> {
        Element { browser: self, id: found[ELEMENT].as_str().unwrap().to_owned() }
    }

    /// Presses keys one after the other, wherever the focus is.
    pub(crate) fn press(&self, keys: &str) {
        let strokes: Vec<Value> = keys
            .chars()
            .flat_map(|key| {
                [json!({"type": "keyDown", "value": key}), json!({"type": "keyUp", "value": key})]
            })
            .collect();
        let keyboard = json!({"type": "key", "id": "keyboard", "actions": strokes});
        self.ask("POST", "/actions", &json!({"actions": [keyboard]}));
    }

    /// The text of the page as a person sees it.
    pub(crate) fn text(&self) -> String {
        self.script("return document.body.innerText").as_str().unwrap_or_default().to_owned()
    }

    /// Waits until the page says this.
    pub(crate) fn until_says(&self, words: &str) {
        until(&format!("the page says `{words}`; {}\n{}", self.where_it_is(), self.text()), || {
            self.text().contains(words).then_some(())
        });
    }

    /// What the browser complained of since the last call: scripts, policy, files not found.
    pub(crate) fn complaints(&self) -> Vec<String> {
        let log = self.ask("POST", "/se/log", &json!({"type": "browser"}));
        let lines = log.as_array().unwrap().iter();
        lines.map(|line| line["message"].as_str().unwrap().to_owned()).collect()
    }
}

impl Element<'_> {
    fn ask(&self, method: &str, command: &str, body: &Value) -> Value {
        self.browser.ask(method, &format!("/element/{}{command}", self.id), body)
    }

    pub(crate) fn click(&self) {
        self.ask("POST", "/click", &json!({}));
    }

    /// Types a text into a field.
    pub(crate) fn write(&self, text: &str) {
        self.ask("POST", "/value", &json!({"text": text}));
    }

    /// Empties a field and types a text into it.
    pub(crate) fn rewrite(&self, text: &str) {
        self.ask("POST", "/clear", &json!({}));
        self.write(text);
    }

    /// Chooses an option of a list by its text.
    pub(crate) fn choose(&self, option: &str) {
        let wanted =
            json!({"using": "xpath", "value": format!("./option[normalize-space()='{option}']")});
        let found = self.ask("POST", "/element", &wanted);
        self.browser.element(&found).click();
    }

    pub(crate) fn text(&self) -> String {
        self.ask("GET", "/text", &Value::Null).as_str().unwrap().to_owned()
    }

    pub(crate) fn attribute(&self, name: &str) -> Option<String> {
        let value = self.ask("GET", &format!("/attribute/{name}"), &Value::Null);
        value.as_str().map(str::to_owned)
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The browser ends with its session; the driver would leave it running.
        self.try_ask("DELETE", "", &Value::Null).ok();
        self.process.kill().ok();
        self.process.wait().ok();
    }
}
