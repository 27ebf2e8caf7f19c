//! What can be wrong with a formula.

/// Why a formula cannot be built.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FormulaError {
    /// Two sides of an operation measure different things.
    #[error("cannot {verb} {left} and {right}: the first is {left_is}, the second {right_is}")]
    Mismatch {
        /// What was tried.
        verb: &'static str,
        /// First operand.
        left: String,
        /// What it measures.
        left_is: String,
        /// Second operand.
        right: String,
        /// What that measures.
        right_is: String,
    },
    /// A function of pure numbers was given something else.
    #[error("{function} needs a pure number, but {argument} is not one")]
    NotANumber {
        /// The function.
        function: &'static str,
        /// Its argument.
        argument: String,
    },
    /// A power that leaves the known dimensions.
    #[error("{base} cannot be raised to the power {exponent}")]
    Power {
        /// The base.
        base: String,
        /// The exponent.
        exponent: String,
    },
    /// Two different inputs carry one identity.
    #[error("two different inputs are both called \"{id}\"; one identity must mean one quantity")]
    ConflictingInput {
        /// The identity.
        id: String,
    },
    /// An input whose numbers are impossible.
    #[error("input \"{id}\": {fault}")]
    UnusableInput {
        /// The identity.
        id: String,
        /// What is wrong.
        fault: String,
    },
    /// A declared correlation that cannot be.
    #[error("the correlation of \"{a}\" and \"{b}\" {fault}")]
    Correlation {
        /// First input.
        a: String,
        /// Second input.
        b: String,
        /// What is wrong.
        fault: String,
    },
    /// A stored formula that is damaged.
    #[error("stored formula is damaged: {0}")]
    Damaged(String),
    /// No input or step of that name.
    #[error("the formula has nothing called \"{0}\"")]
    Unknown(String),
}
