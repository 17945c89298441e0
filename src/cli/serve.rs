//! `serve`: the daemon.

use std::sync::Arc;

use super::args::{Global, Serve};
use super::place::Place;
use super::{Exit, Failure, log};
use crate::clock::WallClock;
use crate::daemon;
use crate::sources::Stop;

pub(crate) fn serve(place: &Place, global: &Global, args: Serve) -> Result<Exit, Failure> {
    log::begin(args.log);
    let daemon = daemon::Serve {
        data: place.dir.clone(),
        config: global.config.clone(),
        listen: args.listen,
        watch: args.watch,
        clock: Arc::new(WallClock),
        stop: Stop::default(),
    };
    daemon.run(&mut |_| ())?;
    Ok(Exit::Done)
}
