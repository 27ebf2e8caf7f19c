//! Photographs: a label's code found on one, a picture kept with a reading.

#![allow(clippy::unwrap_used)] // helpers outside of test functions may not answer for a failure

mod common;

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use common::Bench;
use http_body_util::BodyExt;
use qrcode::{Color, EcLevel, QrCode};
use serde_json::json;
use tower::ServiceExt;

const BOUNDARY: &str = "halfdrop-test-boundary";

/// A form with a file, as a browser sends it.
async fn send(
    bench: &Bench,
    path: &str,
    fields: &[(&str, &str)],
    file: &str,
    bytes: &[u8],
) -> (StatusCode, String, Option<String>) {
    let request = form(path).body(Body::from(body_of(fields, file, bytes)));
    bench.ask(request.unwrap()).await
}

fn form(path: &str) -> axum::http::request::Builder {
    Request::post(path).header(
        "content-type",
        format!("multipart/form-data; boundary={BOUNDARY}"),
    )
}

fn body_of(fields: &[(&str, &str)], file: &str, bytes: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, value) in fields {
        body.extend_from_slice(
            format!(
                "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
            )
            .as_bytes(),
        );
    }
    body.extend_from_slice(
        format!("--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{file}\"; filename=\"IMG 1.png\"\r\nContent-Type: application/octet-stream\r\n\r\n").as_bytes(),
    );
    body.extend_from_slice(bytes);
    body.extend_from_slice(format!("\r\n--{BOUNDARY}--\r\n").as_bytes());
    body
}

/// A label as a telephone sees it: turned, out of focus, unevenly lit, with noise.
fn photograph(text: &str, degrees: f64, blur: usize) -> Vec<u8> {
    let (width, height) = (900_usize, 700_usize);
    let code = QrCode::with_error_correction_level(text, EcLevel::Q).unwrap();
    let (modules, colors) = (code.width(), code.to_colors());
    let (sine, cosine) = degrees.to_radians().sin_cos();
    let side = 300.0;
    let mut pixels = vec![0.0_f64; width * height];
    for y in 0..height {
        for x in 0..width {
            let (dx, dy) = (x as f64 - 450.0, y as f64 - 340.0);
            let (u, v) = (cosine * dx + sine * dy, cosine * dy - sine * dx);
            let at = |t: f64| ((t / side + 0.5) * modules as f64).floor();
            let (column, row) = (at(u), at(v));
            let inside = |t: f64| t >= 0.0 && t < modules as f64;
            let dark = inside(column)
                && inside(row)
                && colors[row as usize * modules + column as usize] == Color::Dark;
            // Light falls off to the right.
            let light = 1.0 - 0.4 * x as f64 / width as f64;
            pixels[y * width + x] = light * if dark { 45.0 } else { 225.0 };
        }
    }
    let mut seed = 7_u64;
    let mut seen = vec![0_u8; width * height];
    for y in 0..height {
        for x in 0..width {
            let mut sum = 0.0;
            let mut count = 0.0;
            for row in y.saturating_sub(blur)..(y + blur + 1).min(height) {
                for column in x.saturating_sub(blur)..(x + blur + 1).min(width) {
                    sum += pixels[row * width + column];
                    count += 1.0;
                }
            }
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let noise = (seed >> 59) as f64 - 16.0;
            seen[y * width + x] = (sum / count + 0.6 * noise).clamp(0.0, 255.0) as u8;
        }
    }
    encoded(&seen, width, height)
}

fn encoded(pixels: &[u8], width: usize, height: usize) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(
        &mut bytes,
        u32::try_from(width).unwrap(),
        u32::try_from(height).unwrap(),
    );
    encoder.set_color(png::ColorType::Grayscale);
    encoder
        .write_header()
        .unwrap()
        .write_image_data(pixels)
        .unwrap();
    bytes
}

#[tokio::test]
async fn a_photographed_label_chooses_its_thing_and_keeps_what_was_filled_in() {
    let bench = Bench::demo().await;
    let fields = [
        ("title", "Base & more"),
        ("sought", "solution/T-0117"),
        ("place", "burette"),
        ("known", ""),
        ("burette", ""),
        ("id", ""),
    ];
    for (degrees, blur) in [(0.0, 0), (17.0, 2), (-38.0, 3), (180.0, 1), (100.0, 2)] {
        let photo = photograph("apparatus/B-3", degrees, blur);
        let (status, body, to) = send(&bench, "/new/find", &fields, "photo", &photo).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{body}");
        let to = to.unwrap();
        assert!(
            to.contains("burette=apparatus%2FB-3") && to.contains("found="),
            "turned by {degrees}, blurred by {blur}: {to}"
        );
        let (_, page) = bench.get(&to).await;
        assert!(page.contains("value=\"Base &amp; more\""), "{page}");
        assert!(
            page.contains("<option value=\"apparatus/B-3\" selected>"),
            "{page}"
        );
        assert!(page.contains("✓ apparatus B-3"), "{page}");
    }
    // A bottle goes where a bottle is still wanted.
    let photo = photograph("lot/S-0041", 5.0, 1);
    let (_, _, to) = send(&bench, "/new/find", &fields, "photo", &photo).await;
    assert!(to.unwrap().contains("known=lot%2FS-0041"));
}

#[tokio::test]
async fn a_short_id_that_is_typed_does_the_same() {
    let bench = Bench::demo().await;
    for (id, expected) in [
        ("b-3", "burette=apparatus%2FB-3"),
        ("W-2", "balance=apparatus%2FW-2"),
        ("P-25-1", "pipette=apparatus%2FP-25-1"),
        ("T-0117", "sought=solution%2FT-0117"),
        ("solution/T-0117", "sought=solution%2FT-0117"),
        ("X-9", "refused=nothing"),
    ] {
        let (status, body, to) = send(&bench, "/new/find", &[("id", id)], "photo", b"").await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{body}");
        let to = to.unwrap();
        assert!(to.contains(expected), "{id}: {to}");
        let (status, page) = bench.get(&to).await;
        assert_eq!(status, StatusCode::OK);
        assert_eq!(
            page.contains("Nothing on the shelf is called that"),
            id == "X-9"
        );
    }
    // With a method, a pipette goes to the step that foresees it.
    let fields = [("method", "vinegar-acidity"), ("id", "P-25-1")];
    let (_, _, to) = send(&bench, "/new/find", &fields, "photo", b"").await;
    assert!(to.unwrap().contains("piece.aliquot=apparatus%2FP-25-1"));
}

#[tokio::test]
async fn a_picture_that_shows_no_code_is_refused_with_a_sentence() {
    let bench = Bench::demo().await;
    let empty = encoded(&[200; 300 * 200], 300, 200);
    for (bytes, sentence) in [
        (empty.as_slice(), "No code was found"),
        (&empty[..60], "no JPEG or PNG"),
        (b"%PDF-1.7 no picture", "no JPEG or PNG"),
    ] {
        let (status, body, to) = send(&bench, "/new/find", &[], "photo", bytes).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{body}");
        let (_, page) = bench.get(&to.unwrap()).await;
        assert!(page.contains(sentence), "{sentence}: {page}");
    }
    let long = vec![0_u8; 13 * 1024 * 1024];
    let (status, body, _) = send(&bench, "/new/find", &[], "photo", &long).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(body.contains("at most 12 MB"), "{body}");
}

#[tokio::test]
async fn a_photograph_is_kept_with_its_reading_and_shown_again() {
    let bench = Bench::demo().await;
    let picture = photograph("any", 3.0, 1);
    let fields = [
        ("on", "determination/D-0005"),
        ("about", "2 final"),
        ("back", "/determinations/D-0005"),
    ];
    for _ in 0..2 {
        let (status, body, to) = send(&bench, "/files", &fields, "file", &picture).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{body}");
        assert_eq!(to.unwrap(), "/determinations/D-0005");
    }
    let hash = notebook::Hash::of(&picture).to_string();
    // A picture that waited for the network is sent again if the answer was lost: taken once, at the time it was made.
    let waited = [
        fields[0],
        ("about", "1 final"),
        ("key", "tablet-7"),
        ("at", "2026-03-12T10:15:00.000+01:00"),
    ];
    let mut versions = Vec::new();
    for repeated in [false, true] {
        let request = form("/files")
            .header("accept", "application/json")
            .body(Body::from(body_of(&waited, "file", &picture)))
            .unwrap();
        let (status, body, _) = bench.ask(request).await;
        assert_eq!(status, StatusCode::OK, "{body}");
        let receipt: serde_json::Value = serde_json::from_str(&body).unwrap();
        assert_eq!(receipt["repeated"], repeated, "{body}");
        assert_eq!(receipt["events"][0]["at"], waited[3].1, "{body}");
        versions.push(receipt["version"].clone());
    }
    assert_eq!(versions[0], versions[1]);
    let (_, page) = bench.get("/determinations/D-0005").await;
    assert!(
        page.contains(&format!("src=\"/files/{hash}\""))
            && page.contains("alt=\"Photograph of Run 1, final: IMG 1.png\"")
            && page.contains(&hash[..16]),
        "{page}"
    );
    let request = Request::get(format!("/files/{hash}"))
        .body(Body::empty())
        .unwrap();
    let response = bench.router.clone().oneshot(request).await.unwrap();
    let headers = response.headers().clone();
    assert_eq!(headers[header::CONTENT_TYPE], "image/png");
    assert_eq!(headers[header::X_CONTENT_TYPE_OPTIONS], "nosniff");
    assert_eq!(
        headers[header::CONTENT_SECURITY_POLICY],
        "default-src 'none'; sandbox"
    );
    let bytes = response.into_body().collect().await.unwrap().to_bytes();
    assert_eq!(bytes, picture);

    // What is no picture is not kept, whatever it calls itself.
    let page = b"<script>alert(1)</script>";
    let (status, body, _) = send(&bench, "/files", &fields, "file", page).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(body.contains("only these are kept"), "{body}");
    let other = [("on", "determination/D-0005"), ("about", "99 final")];
    let (status, ..) = send(&bench, "/files", &other, "file", &picture).await;
    assert_eq!(
        status,
        StatusCode::UNPROCESSABLE_ENTITY,
        "there is no run 99"
    );
    for hash in ["00", "../etc/passwd", &"0".repeat(64)] {
        let (status, _) = bench.get(&format!("/files/{hash}")).await;
        assert_eq!(status, StatusCode::NOT_FOUND, "{hash}");
    }
    // Another program may attach something else; it is saved, never shown.
    bench
        .does(
            "determination/D-0005",
            "file-attached",
            json!({ "name": "<b>x</b>.html", "media_type": "text/html", "sha256": hash, "bytes": 3 }),
        )
        .await;
    let (_, page) = bench.get("/determinations/D-0005").await;
    assert!(!page.contains("<b>x"), "{page}");
}

#[tokio::test]
async fn glass_has_a_code_to_be_printed() {
    let bench = Bench::demo().await;
    let (status, page) = bench.get("/codes/apparatus/B-3").await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("<path class=\"dark\"") && page.contains("B-3"));
    assert_eq!(
        bench.get("/codes/apparatus/B-99").await.0,
        StatusCode::NOT_FOUND
    );
}

/// What a camera reads off the first code that is drawn on a page.
fn read_off(page: &str) -> String {
    let drawing = page
        .split_once("class=\"code")
        .and_then(|(_, rest)| rest.split_once("</svg>"))
        .unwrap()
        .0;
    let member = |name: &str| {
        let (_, rest) = drawing.split_once(&format!(" {name}=\"")).unwrap();
        rest.split_once('"').unwrap().0
    };
    let side: usize = member("viewBox")
        .split(' ')
        .nth(2)
        .unwrap()
        .parse()
        .unwrap();
    let mut dark = vec![false; side * side];
    for square in member("d").split_terminator('z') {
        let (at, size) = square.trim_start_matches('M').split_once('h').unwrap();
        let (x, y) = at.split_once(' ').unwrap();
        let (x, y): (usize, usize) = (x.parse().unwrap(), y.parse().unwrap());
        let length: usize = size.split_once('v').unwrap().0.parse().unwrap();
        dark[y * side + x..y * side + x + length].fill(true);
    }
    let scale = 6;
    let mut seen =
        rqrr::PreparedImage::prepare_from_greyscale(side * scale, side * scale, |x, y| {
            if dark[y / scale * side + x / scale] {
                0
            } else {
                255
            }
        });
    seen.detect_grids()[0].decode().unwrap().1
}

#[tokio::test]
async fn the_code_on_the_page_of_a_certificate_says_what_its_file_says() {
    let bench = Bench::demo().await;
    for name in ["C-0001", "C-0002"] {
        let (_, page) = bench.get(&format!("/certificates/{name}")).await;
        let request = Request::get(format!("/certificates/{name}/pdf"))
            .body(Body::empty())
            .unwrap();
        let response = bench.router.clone().oneshot(request).await.unwrap();
        let pdf = response.into_body().collect().await.unwrap().to_bytes();
        let sheet = certificate::attached(&pdf).unwrap();
        assert_eq!(
            read_off(&page),
            format!("certificate/{name} {}", sheet.event.hash)
        );
        assert!(page.contains(&sheet.event.hash.to_string()), "{page}");
    }
    // The same drawing stands on glass.
    let (_, page) = bench.get("/codes/apparatus/B-3").await;
    assert_eq!(read_off(&page), "apparatus/B-3");
}
