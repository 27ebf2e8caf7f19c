//! A plain HTTP client over one connection that is kept, as a tablet keeps one; and a stream of server-sent events.

use http_body_util::{BodyExt, Full};
use hyper::body::{Bytes, Incoming};
use hyper::client::conn::http1::{SendRequest, handshake};
use hyper::{Request, Response, StatusCode};
use hyper_util::rt::TokioIo;
use tokio::net::TcpStream;

/// Why it does not go on; of any thread.
pub type Failure = Box<dyn std::error::Error + Send + Sync>;

/// One connection.
#[derive(Debug)]
pub struct Client {
    host: String,
    sender: SendRequest<Full<Bytes>>,
}

impl Client {
    /// Connects to "address:port".
    ///
    /// # Errors
    /// What the network says.
    pub async fn connect(host: &str) -> Result<Self, Failure> {
        let stream = TcpStream::connect(host).await?;
        stream.set_nodelay(true)?;
        let (sender, connection) = handshake(TokioIo::new(stream)).await?;
        // The connection ends with the client.
        tokio::spawn(connection);
        Ok(Self {
            host: host.into(),
            sender,
        })
    }

    async fn send(&mut self, request: Request<Full<Bytes>>) -> Result<Response<Incoming>, Failure> {
        self.sender.ready().await?;
        Ok(self.sender.send_request(request).await?)
    }

    fn request(&self, method: &str, path: &str) -> hyper::http::request::Builder {
        Request::builder()
            .method(method)
            .uri(path)
            .header("host", &self.host)
            .header("user-agent", "Android")
    }

    /// Asks for a page; gives its status and its length.
    ///
    /// # Errors
    /// What the network says.
    pub async fn get(&mut self, path: &str, part: bool) -> Result<(StatusCode, Bytes), Failure> {
        let mut request = self.request("GET", path);
        if part {
            request = request.header("x-part", "bench");
        }
        let response = self.send(request.body(Full::default())?).await?;
        let status = response.status();
        Ok((status, response.into_body().collect().await?.to_bytes()))
    }

    /// Sends a command; gives the status and the answer.
    ///
    /// # Errors
    /// What the network says.
    pub async fn command(&mut self, json: &str) -> Result<(StatusCode, Bytes), Failure> {
        let request = self
            .request("POST", "/api/v1/commands")
            .header("content-type", "application/json")
            .body(Full::from(json.to_string()))?;
        let response = self.send(request).await?;
        let status = response.status();
        Ok((status, response.into_body().collect().await?.to_bytes()))
    }

    /// Follows the changes of a thing.
    ///
    /// # Errors
    /// What the network says.
    pub async fn live(mut self, about: &str) -> Result<Live, Failure> {
        let path = format!("/live?about={}", about.replace('/', "%2F"));
        let request = self.request("GET", &path).body(Full::default())?;
        let body = self.send(request).await?.into_body();
        Ok(Live {
            body,
            _client: self,
        })
    }
}

/// Changes as they are told.
#[derive(Debug)]
pub struct Live {
    body: Incoming,
    _client: Client,
}

impl Live {
    /// Waits for the next change; none when the stream ends.
    pub async fn next(&mut self) -> Option<Bytes> {
        loop {
            let frame = self.body.frame().await?.ok()?;
            if let Ok(data) = frame.into_data()
                && data.starts_with(b"data:")
            {
                return Some(data);
            }
        }
    }
}
