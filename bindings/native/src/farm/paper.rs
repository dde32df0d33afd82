use pointdown_core::farm::LabelWish;
use pointdown_core::paper::Stock;

use super::{Farm, day, id};
use crate::mirror::Mirror;
use crate::{Label, LabelPage, Page, Paper, PointdownError, Question, Step};

#[uniffi::export]
impl Farm {
    /// The paper that printers mostly hold where the farm's rules are in force.
    pub fn usual_paper(&self) -> Result<Paper, PointdownError> {
        Ok(self.core()?.usual_paper()?.mirror())
    }

    /// The carton run that bears this printed code, or has this id or an id that ends so.
    pub fn find_carton(&self, text: String) -> Result<String, PointdownError> {
        Ok(self.core()?.find_carton(&text)?.to_string())
    }

    /// What stands on the labels of a carton run, by the rules in force.
    pub fn label(&self, carton: String) -> Result<Label, PointdownError> {
        let stock: Stock = Stock::usual(self.core()?.usual_paper()?).parse()?;
        let wish = LabelWish::new(id("carton", &carton)?, stock);
        Ok(self.core()?.label(&wish)?.0.mirror())
    }

    /// Labels for a carton run, from the first free label of a sheet on; `stock` is a name such as
    /// `a4-3x7` or measures, and the farm's usual one where it is not given.
    pub fn label_page(
        &self,
        carton: String,
        stock: Option<String>,
        first_label: u32,
        cartons: Option<u32>,
    ) -> Result<LabelPage, PointdownError> {
        let farm = self.core()?;
        let stock: Stock = match &stock {
            Some(stock) => stock.parse()?,
            None => Stock::usual(farm.usual_paper()?).parse()?,
        };
        let wish = LabelWish {
            first: first_label,
            cartons,
            ..LabelWish::new(id("carton", &carton)?, stock)
        };
        Ok(farm.label_page(&wish)?.mirror())
    }

    /// The sheet of a day, or of a span of days, for print.
    pub fn day_sheet_page(
        &self,
        first: String,
        last: String,
        paper: Paper,
    ) -> Result<Page, PointdownError> {
        let (first, last) = (day("first", &first)?, day("last", &last)?);
        let page = self.core()?.day_sheet_page(first, last, paper.into())?;
        Ok(page.mirror())
    }

    /// Blank gather sheets for every coop in use, or for one, by id.
    pub fn gather_sheet_page(
        &self,
        coop: Option<String>,
        first: String,
        days: u32,
        rounds: u32,
        paper: Paper,
    ) -> Result<Page, PointdownError> {
        let coop = coop.map(|coop| id("coop", &coop)).transpose()?;
        let first = day("first", &first)?;
        let farm = self.core()?;
        Ok(farm
            .gather_sheet_page(coop, first, (days, rounds), paper.into())?
            .mirror())
    }

    /// Trends with pictures and tables, for print and for a screen.
    pub fn trend_page(
        &self,
        first: String,
        last: String,
        step: Step,
        coop: Option<String>,
        paper: Paper,
    ) -> Result<Page, PointdownError> {
        let days = (day("first", &first)?, day("last", &last)?);
        let coop = coop.map(|coop| id("coop", &coop)).transpose()?;
        let farm = self.core()?;
        Ok(farm
            .trend_page(days, step.into(), coop, paper.into())?
            .mirror())
    }

    /// The call-back list for print: what is still here, and whom to phone.
    pub fn call_back_page(&self, question: Question, paper: Paper) -> Result<Page, PointdownError> {
        let page = self
            .core()?
            .call_back_page(question.try_into()?, paper.into())?;
        Ok(page.mirror())
    }
}
