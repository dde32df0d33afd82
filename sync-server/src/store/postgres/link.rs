use std::cell::RefCell;
use std::collections::HashMap;
use std::future::{Future, poll_fn};
use std::pin::pin;
use std::task::Poll;

use tokio::runtime::Runtime;
use tokio_postgres::types::ToSql;
use tokio_postgres::{Client, Row, Statement};

use super::address::Address;
use crate::store::StoreError;

/// What a statement is given.
pub(super) type Params<'a> = &'a [&'a (dyn ToSql + Sync)];

/// Said once on every new connection. A server that hangs in the middle of a transaction must give
/// its farm back; one that runs on must not wait for a lock for ever.
const FIRST: &str = "SET statement_timeout = '20s'; SET lock_timeout = '10s'; \
                     SET idle_in_transaction_session_timeout = '30s'";

/// One connection, driven by whichever thread uses it: no message is handed from thread to thread,
/// and what is asked for at once travels at once.
pub(super) struct Link {
    client: Client,
    statements: RefCell<HashMap<&'static str, Statement>>,
    runtime: Option<Runtime>,
}

impl Link {
    pub(super) fn open(address: &Address) -> Result<Link, StoreError> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|e| StoreError::Backend(format!("no thread to wait on: {e}")))?;
        let connected = runtime.block_on(address.config.connect(address.tls.clone()));
        let (client, connection) = match connected {
            Ok(both) => both,
            Err(e) => {
                runtime.shutdown_background();
                return Err(e.into());
            }
        };
        // Why a connection ended, the statement that was underway reports.
        runtime.spawn(async move {
            let _ = connection.await;
        });
        let link = Link {
            client,
            statements: RefCell::default(),
            runtime: Some(runtime),
        };
        link.batch(FIRST)?;
        Ok(link)
    }

    /// Whether the connection has ended, as far as was noticed.
    pub(super) fn is_closed(&self) -> bool {
        self.client.is_closed()
    }

    pub(super) fn client(&self) -> &Client {
        &self.client
    }

    /// Waits for what was asked for.
    pub(super) fn wait<T>(
        &self,
        work: impl Future<Output = Result<T, tokio_postgres::Error>>,
    ) -> Result<T, StoreError> {
        let Some(runtime) = &self.runtime else {
            return Err(StoreError::Backend("the connection is closed".into()));
        };
        Ok(runtime.block_on(work)?)
    }

    /// A statement, prepared once a connection.
    pub(super) fn statement(&self, sql: &'static str) -> Result<Statement, StoreError> {
        if let Some(known) = self.statements.borrow().get(sql) {
            return Ok(known.clone());
        }
        let fresh = self.wait(self.client.prepare(sql))?;
        self.statements.borrow_mut().insert(sql, fresh.clone());
        Ok(fresh)
    }

    /// Statements without parameters, in one go.
    pub(super) fn batch(&self, sql: &str) -> Result<(), StoreError> {
        self.wait(self.client.batch_execute(sql))
    }

    /// Sends a statement without waiting for its answer, which is read along with the next one's.
    pub(super) fn send(&self, sql: &str) {
        let Some(runtime) = &self.runtime else { return };
        runtime.block_on(async {
            let mut sent = pin!(self.client.batch_execute(sql));
            // The first poll hands it to the connection, which runs while this task waits.
            let _ = poll_fn(|cx| Poll::Ready(sent.as_mut().poll(cx))).await;
            tokio::task::yield_now().await;
        });
    }

    pub(super) fn execute(&self, sql: &'static str, with: Params<'_>) -> Result<u64, StoreError> {
        let statement = self.statement(sql)?;
        self.wait(self.client.execute(&statement, with))
    }

    pub(super) fn query(
        &self,
        sql: &'static str,
        with: Params<'_>,
    ) -> Result<Vec<Row>, StoreError> {
        let statement = self.statement(sql)?;
        self.wait(self.client.query(&statement, with))
    }

    pub(super) fn one(&self, sql: &'static str, with: Params<'_>) -> Result<Row, StoreError> {
        let statement = self.statement(sql)?;
        self.wait(self.client.query_one(&statement, with))
    }

    pub(super) fn maybe(
        &self,
        sql: &'static str,
        with: Params<'_>,
    ) -> Result<Option<Row>, StoreError> {
        let statement = self.statement(sql)?;
        self.wait(self.client.query_opt(&statement, with))
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        // A store may be dropped where waiting is not allowed.
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_background();
        }
    }
}
